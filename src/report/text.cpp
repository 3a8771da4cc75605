// For a terminal of 80 columns.
#include "quantity/text.h"

#include <algorithm>

#include "inspection/check.h"
#include "report/formats.h"
#include "report/lines.h"

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

void add_results(const Input& input, std::string& out) {
  for (const auto* kind : inspection::check_kinds()) {
    std::size_t all = 0, passed = 0;
    std::string lines;
    for (const Result& result : input.judgement->results) {
      if (result.check != kind->name) continue;
      ++all;
      passed += result.outcome == Outcome::pass;
      if (result.outcome != Outcome::pass || input.verbose)
        wrap(lines, "    " + std::string(sign(result.outcome)) + " ",
             result.title + ": " + result.text);
    }
    if (all == 0) continue;
    wrap(out, passed == all ? "  ✔ " : "  · ",
         std::string(kind->heading) + ": " + std::to_string(passed) + " of " + std::to_string(all) +
             " pass");
    out += lines;
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
       input.profile->name + "; bench: " + header.bench_name +
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
