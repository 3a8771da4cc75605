#include <cmath>
#include <cstdio>
#include <map>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"
#include "report/diagnosis.h"

namespace pinproof::report {
namespace {

using diagnosis::Conclusion;
using diagnosis::ConclusionInput;

// Nine columns, so that the points stand below one another.
std::string chance(double p) {
  constexpr std::size_t kColumns = 9;
  if (p > 0.9995) return "> 99.9 %";
  const std::string text = percent(p, p < 0.1 ? 2 : 1);
  return std::string(kColumns - std::min(kColumns, text.size()), ' ') + text;
}

std::string few(std::vector<std::string> words) {
  constexpr std::size_t kMost = 20;
  const std::size_t more = words.size() > kMost ? words.size() - kMost : 0;
  words.resize(words.size() - more);
  return joined(words) + (more > 0 ? " and " + std::to_string(more) + " more" : "");
}

// Where no single fault stands out, the parts tell more.
void add_parts(const Conclusion& c, std::string& out) {
  constexpr std::size_t kMost = 12;
  if (c.named.empty() || c.named.front().probability > 0.5 ||
      (c.ranking.readings == 0 && c.codes.empty()))
    return;
  out += "\nWhere the cause may be\n";
  std::size_t k = 0;
  for (const auto& [part, probability] : c.by_part)
    if (k++ < kMost) out += " " + chance(probability) + "  " + harmless(part) + "\n";
  if (c.ranking.readings == 0) {
    out += " " + chance(c.ranking.good) + "  not in the pack\n";
    out +=
        " " + chance(c.ranking.none_of_these) + "  something that is not in the list of faults\n";
  }
}

void add_explanations(const Conclusion& c, std::string& out) {
  if (c.ranking.readings == 0) return;
  out += "\nExplanations, likeliest first\n";
  for (const auto& one : c.named)
    wrap(out, " " + chance(one.probability) + "  ", harmless(text_of(one)));
  if (c.ranking.none_of_these > 5e-4)
    wrap(out, " " + chance(c.ranking.none_of_these) + "  ",
         "none of these: something that is not in the list of faults");
  for (const auto& one : c.named)
    for (const auto& guess : one.faults) {
      const auto& alike = guess.suspect->alike;
      if (one.probability < 0.3 || alike.empty()) continue;
      wrap(out, "            ", "no reading tells it from: " + joined(alike, "; "));
    }
}

void add_codes(const Conclusion& c, std::string& out) {
  if (!c.codes.empty()) out += "\nTrouble codes\n";
  for (const auto& code : c.codes) {
    std::string text = std::string(name_of(code.standing)) + ": " + code.why + ".";
    if (!code.meaning.empty()) text = harmless(code.meaning) + "\n" + text;
    if (!code.left.empty()) text += " Left: " + joined(code.left, "; ") + ".";
    if (!code.test.empty()) text += " It would be settled by: " + code.test + ".";
    std::string first = " " + harmless(code.code);
    first.resize(std::max<std::size_t>(first.size() + 2, 10), ' ');
    const auto line = text.find('\n');
    if (line != std::string::npos) {
      wrap(out, first, text.substr(0, line));
      first.assign(first.size(), ' ');
      text.erase(0, line + 1);
    }
    wrap(out, first, text);
  }
}

void add_movement(const ConclusionInput& in, const Conclusion& c, std::string& out) {
  constexpr std::size_t kMost = 6;
  if (c.movement.moved.empty()) return;
  out += "\nMoved while held\n";
  for (const std::size_t t : c.movement.moved) {
    const auto& held = in.held[t];
    const auto ohm = [](double value) {
      return std::isinf(value) ? std::string("open") : format_si(value, Unit::ohm, 3);
    };
    char when[32] = "";
    if (held.at_s > 0) std::snprintf(when, sizeof when, ", at %.1f s", held.at_s);
    wrap(out, "  - ",
         harmless(text_of(*in.scene, held.probe)) + ": " + ohm(held.least_ohm) + " to " +
             ohm(held.most_ohm) + when);
  }
  out += "One fault that comes and goes and explains them all\n";
  std::size_t k = 0;
  for (const auto& mover : c.movement.movers)
    if (k++ < kMost) wrap(out, "  - ", harmless(text_of(mover.fault)));
  if (c.movement.movers.empty()) out += "  none\n";
}

void add_rest(const ConclusionInput& in, const Conclusion& c, std::string& out) {
  if (!c.masked.empty()) {
    out += "\nHidden while this fault is there: test again after the repair\n";
    for (const std::string& one : c.masked) wrap(out, "  - ", harmless(one));
  }
  if (!c.exonerated.empty()) {
    out += "\nExonerated, at the states and limits that were measured\n";
    std::map<std::string, std::vector<std::string>> parts_of;  // alike parts on one line
    for (const auto& part : c.exonerated) parts_of[joined(part.kinds)].push_back(part.part);
    for (const auto& [kinds, parts] : parts_of)
      wrap(out, "  - ", harmless(joined(parts)) + ": " + kinds);
  }
  if (!c.untested.empty() && c.ranking.readings > 0)
    wrap(out, "\nNot looked at: ", harmless(few(c.untested)));
  if (c.next) {
    const auto& probe = (*in.probes)[c.next->probe];
    char bits[48];
    std::snprintf(bits, sizeof bits, " (%.2f bits expected)", c.next->bits);
    wrap(out, "\nNext: ", harmless(text_of(*in.scene, probe)) + (c.next->bits > 0 ? bits : ""));
  }
}

}  // namespace

std::string diagnosis_text(const ConclusionInput& in, const Conclusion& c) {
  std::string out;
  wrap(out, "", in.scene->model().profile().name);
  wrap(out, "", c.sentence);
  if (c.ranking.readings > 0 && c.ranking.fit < 1e-4 && c.ranking.none_of_these < 0.5)
    wrap(out, "Doubt: ",
         "even the best explanation fits the readings poorly; read the odd ones once more");
  add_movement(in, c, out);
  for (const std::string& remark : c.remarks) wrap(out, "Seen: ", harmless(remark));
  add_parts(c, out);
  add_explanations(c, out);
  add_codes(c, out);
  add_rest(in, c, out);
  wrap(
      out, "\nCaution: ",
      "the maker's service information and local rules come first. Driven coils get hot within "
      "seconds. A start in gear, hot oil and compressed air can kill: a diagnosis does not replace "
      "a qualified person.");
  return out;
}

}  // namespace pinproof::report
