// For a terminal of 80 columns.
#include "quantity/text.h"

#include <algorithm>

#include "inspection/check.h"
#include "report/formats.h"

namespace pinproof::report {
namespace {

using inspection::Outcome;
using inspection::Result;
using inspection::Verdict;

constexpr std::size_t kWidth = 80;

// Columns, not bytes: every UTF-8 lead byte counts one.
std::size_t columns(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  }));
}

// Control characters would move the cursor; names come from outside.
std::string harmless(std::string_view text) {
  std::string out;
  for (const char c : text) out += static_cast<unsigned char>(c) < 0x20 || c == 0x7f ? '?' : c;
  return out;
}

// The first `count` columns of a text, whole characters only.
std::string_view head(std::string_view text, std::size_t count) {
  std::size_t at = 0;
  for (std::size_t used = 0; at < text.size(); ++at) {
    if ((static_cast<unsigned char>(text[at]) & 0xC0) != 0x80 && used++ == count) break;
  }
  return text.substr(0, at);
}

void wrap(std::string& out, const std::string& first, const std::string& text) {
  const std::string safe = harmless(text);
  const std::size_t indent = columns(first);
  std::string line = first;
  std::size_t used = indent;
  std::string_view rest = safe;
  while (!rest.empty()) {
    const auto space = rest.find(' ');
    std::string_view word = rest.substr(0, space);
    if (columns(word) > kWidth - indent) word = head(word, kWidth - indent);
    if (used > indent && used + 1 + columns(word) > kWidth) {
      out += line + "\n";
      line.assign(indent, ' ');
      used = indent;
    }
    if (used > indent) line += ' ', ++used;
    line += word;
    used += columns(word);
    rest.remove_prefix(word.size());
    if (rest.starts_with(' ')) rest.remove_prefix(1);
  }
  out += line + "\n";
}

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
       headline(*input.judgement) + (header.serial.empty() ? "" : "  pack " + header.serial));
  wrap(out, "  ", input.judgement->why);
  wrap(out, "  ",
       input.profile->name + "; bench: " + header.bench_name +
           (header.lot.empty() ? "" : "; lot: " + header.lot));
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

std::string coil_text(const waveform::CoilFigures& f) {
  std::string out;
  const auto row = [&](const std::string& name, const Estimate& value, Unit unit) {
    wrap(out, name + std::string(24 - std::min<std::size_t>(23, columns(name)), ' '),
         value.usable() ? format_estimate(value, unit) : std::string("not seen"));
  };
  if (f.status != waveform::Status::ok)
    wrap(out, "No full reading: ", std::string(text_of(f.status)));
  row("Resistance", f.resistance_ohm, Unit::ohm);
  row("Inductance at rest", f.inductance_H, Unit::henry);
  row("Time constant", f.time_constant_s, Unit::second);
  row("Eddy fraction a", f.eddy_fraction, Unit::none);
  row("Final current", f.final_current_A, Unit::ampere);
  row("Flux linkage", f.flux_linkage_Vs, Unit::weber);
  row("Rise time 10-90 %", f.rise_time_s, Unit::second);
  if (f.has_peak)
    wrap(out, "Peak before the dip     ",
         format_si(f.current_peak.current_A, Unit::ampere, 4) + " at " +
             format_si(f.current_peak.at_s, Unit::second, 4));
  if (f.has_pull_in)
    wrap(out, "Seated                  ",
         format_si(f.pull_in.current_A, Unit::ampere, 4) + " at " +
             format_si(f.pull_in.at_s, Unit::second, 4));
  row("Release", f.release_s, Unit::second);
  row("Clamp voltage", f.clamp_V, Unit::volt);
  wrap(out, "Plunger                 ",
       std::string(name_of(f.plunger)) + (f.plunger_reason.empty() ? "" : ": " + f.plunger_reason));
  for (const auto& finding : f.findings) wrap(out, "Finding                 ", finding.text);
  out += "Uncertainties are U at k = 2.\n";
  return out;
}

}  // namespace pinproof::report
