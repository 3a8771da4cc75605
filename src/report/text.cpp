// For a terminal of 80 columns.
#include "quantity/text.h"

#include <algorithm>
#include <vector>

#include "inspection/checks/check.h"
#include "quantity/lines.h"
#include "report/formats.h"

namespace pinproof::report {
namespace {

constexpr std::size_t kNoteWidth = 240;  // three lines

using inspection::Outcome;
using inspection::Result;
using inspection::Verdict;

std::string_view sign(Outcome outcome) {
  switch (outcome) {
    case Outcome::pass:
      return "✔ pass       ";
    case Outcome::fail:
      return "✖ FAIL       ";
    case Outcome::undecided:
      return "▲ undecided  ";
    case Outcome::skipped:
      return "– skipped    ";
    case Outcome::bench_fault:
      return "■ bench-fault";
  }
  return "";
}

std::string headline(const inspection::Judgement& judgement) {
  const std::string level = std::string(name_of(judgement.level));
  switch (judgement.verdict) {
    case Verdict::accept:
      return "✔ ACCEPT (level " + level + ")";
    case Verdict::reject:
      return "✖ REJECT (level " + level + ")";
    case Verdict::hold:
      break;
  }
  return "▲ HOLD (level " + level + ")";
}

void add_findings(const Input& input, std::string& out) {
  for (const auto& finding : input.judgement->findings) {
    wrap(out, "  ✖ ", finding.text);
    if (!finding.pins.empty()) wrap(out, "      Pins: ", inspection::list_of(finding.pins));
    for (const std::string& evidence : finding.evidence) wrap(out, "      Seen: ", evidence);
    if (!finding.next.empty()) wrap(out, "      Next: ", finding.next);
  }
}

// "Insulation of pin 9", "Insulation of pin 10" -> "pin 10": the words that follow the shared ones.
std::string_view new_words(std::string_view first, std::string_view title) {
  const auto differ =
      std::mismatch(first.begin(), first.end(), title.begin(), title.end()).second - title.begin();
  const auto space = title.substr(0, static_cast<std::size_t>(differ)).rfind(' ');
  return space == title.npos ? title : title.substr(space + 1);
}

// What one cause says of many parts is said once.
void add_lines(const std::vector<const Result*>& results, std::string& out) {
  for (auto from = results.begin(); from != results.end();) {
    const Result& first = **from;
    const auto end = std::find_if(from + 1, results.end(), [&](const Result* other) {
      return other->outcome != first.outcome || first.outcome == Outcome::pass ||
             other->text != first.text;
    });
    std::string titles = first.title;
    for (auto other = from + 1; other != end; ++other)
      titles += "; " + std::string(new_words(first.title, (*other)->title));
    wrap(out, "    " + std::string(sign(first.outcome)) + " ", titles + ": " + first.text);
    from = end;
  }
}

void add_results(const Input& input, std::string& out) {
  for (const auto* kind : inspection::check_kinds()) {
    std::size_t all = 0, passed = 0;
    std::vector<const Result*> told;
    for (const Result& result : input.judgement->results) {
      if (result.check != kind->name) continue;
      ++all;
      passed += result.outcome == Outcome::pass;
      if (result.outcome != Outcome::pass || input.verbose) told.push_back(&result);
    }
    if (all == 0) continue;
    wrap(out, passed == all ? "  ✔ " : "  · ",
         std::string(kind->heading) + ": " + std::to_string(passed) + " of " + std::to_string(all) +
             " pass");
    add_lines(told, out);
  }
}

}  // namespace

std::string to_text(const Input& input) {
  const auto& header = input.record->header;
  std::string out;
  wrap(out, "",
       headline(*input.judgement) +
           (header.serial.empty() ? "" : "  pack " + shortened(header.serial)));
  wrap(out, "  ", input.judgement->why);
  wrap(out, "  ",
       input.profile->name +
           (header.profile_hash == input.profile->hash
                ? ""
                : " (another version of it than this was measured by)") +
           "; bench: " + header.bench_name +
           (header.lot.empty() ? "" : "; lot: " + shortened(header.lot)));
  if (!header.note.empty()) wrap(out, "  Note: ", shortened(header.note, kNoteWidth));
  if (!input.judgement->findings.empty()) out += "\nFindings\n";
  add_findings(input, out);
  out += "\nChecks\n";
  add_results(input, out);
  out += "\nNot tested\n";
  for (const std::string& line : input.judgement->not_tested) wrap(out, "  - ", line);
  out += "\nCautions\n";
  for (const std::string& line : input.judgement->cautions) wrap(out, "  ! ", line);
  return out;
}

}  // namespace pinproof::report
