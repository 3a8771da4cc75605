#include "lever/lint_code.h"

#include <algorithm>

#include "lever/explain.h"
#include "lever/taps.h"

namespace pinproof::lever {
namespace {

using profile::Remark;
using Remarks = std::vector<Remark>;
using Weight = Remark::Weight;

Mask differ(const Code& code, std::size_t p, std::size_t q) {
  const Word &x = code.words[p], &y = code.words[q];
  return (x.closed ^ y.closed) & x.known & y.known & code.lines;
}

void lint_distances(const Code& code, Remarks& out) {
  std::string one;
  for (std::size_t p = 0; p < code.positions.size(); ++p)
    for (std::size_t q = p + 1; q < code.positions.size(); ++q)
      if (__builtin_popcount(differ(code, p, q)) == 1)
        one += (one.empty() ? "" : ", ") + code.positions[p] + " and " + code.positions[q];
  if (!one.empty())
    out.push_back({Weight::warning, "/lever/positions",
                   "codes that differ in one line only, so that one bad line turns one into the "
                   "other: " +
                       one});
}

// While the lever moves, contacts change one after the other: in which order, the profile may say.
void lint_transition(const Code& code, std::size_t p, Remarks& out) {
  const Mask changes = differ(code, p, p + 1);
  for (Mask some = (changes - 1) & changes; some != 0; some = (some - 1) & changes) {
    Word word = code.words[p];
    word.closed ^= some;
    if (!agree({code.between[p].closed & code.lines, code.between[p].known & code.lines}, word))
      continue;
    for (const std::size_t read : code.decode(word))
      if (read != p && read != p + 1)
        out.push_back({Weight::warning, "/lever/positions/" + std::to_string(p + 1),
                       "from " + code.positions[p] + " to " + code.positions[p + 1] +
                           " the lines may pass " + code.text(word) + ", the code of " +
                           code.positions[read]});
  }
}

void lint_constant(const Code& code, const Word& word, const char* when, Remarks& out) {
  for (const std::size_t read : code.decode(word))
    if (code.drives(read))  // of park and neutral the profile's own lint speaks
      out.push_back({Weight::warning, "/lever/positions/" + std::to_string(read) + "/code",
                     std::string(when) + " reads " + code.positions[read]});
}

std::string dangers(const Code& code, const std::vector<Hazard>& hazards) {
  std::string out;
  for (const Hazard& hazard : hazards) {
    out += (out.empty() ? "" : ", ") + code.positions[hazard.position];
    out += hazard.reads == hazard.position ? " permits a start"
                                           : " reads " + code.positions[hazard.reads];
  }
  return out;
}

void lint_faults(const Ground& ground, Remarks& out) {
  const Code& code = *ground.code;
  for (const LineFault& fault : single_faults(ground)) {
    const std::string_view kind = fault.kind->name;
    if (kind.starts_with("lever") || kind == "other-pack") continue;  // not the table's doing
    const Effect effect = effect_of(ground, {&fault, 1});
    std::vector<Word> words;
    for (std::size_t p = 0; p < code.positions.size(); ++p) words.push_back(effect.at(p));
    auto hazards = hazards_of(code, words);
    std::erase_if(hazards, [](const Hazard& h) {
      return !h.certain || h.danger == Danger::reverse_contact_wrong;
    });
    const bool unnoticed = words != code.words && silent(code, words);
    if (hazards.empty() && !unnoticed) continue;
    out.push_back(
        {Weight::warning, "/lever",
         "one fault, " + text_of(ground, fault) + ": " +
             (hazards.empty() ? "" : "DANGER, " + dangers(code, hazards)) +
             (hazards.empty() || !unnoticed ? "" : "; ") +
             (unnoticed ? "never an invalid code, so that a controller cannot notice" : "")});
  }
}

}  // namespace

std::vector<Remark> lint_code(const profile::Profile& profile) {
  Remarks out;
  if (!profile.lever) return out;
  const Code code = code_of(profile);
  const Ground ground(code, nothing_of(code), &profile);
  lint_distances(code, out);
  for (std::size_t p = 0; p + 1 < code.positions.size(); ++p) lint_transition(code, p, out);
  lint_constant(code, {0, code.lines}, "an unplugged connector", out);
  lint_constant(code, {code.lines, code.lines}, "a connector with all lines at ground", out);
  lint_faults(ground, out);
  return out;
}

}  // namespace pinproof::lever
