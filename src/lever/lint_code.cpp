#include "lever/lint_code.h"

#include <algorithm>
#include <array>

#include "lever/explain.h"
#include "lever/taps.h"

namespace pinproof::lever {
namespace {

using profile::Remark;
using Remarks = std::vector<Remark>;
using Weight = Remark::Weight;

Mask differ(const RangeCode& code, std::size_t p, std::size_t q) {
  const Word &x = code.words[p], &y = code.words[q];
  return (x.closed ^ y.closed) & x.known & y.known & code.lines;
}

void lint_distances(const RangeCode& code, Remarks& out) {
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
void lint_transition(const RangeCode& code, std::size_t p, Remarks& out) {
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

void lint_constant(const RangeCode& code, const Word& word, const char* when, Remarks& out) {
  for (const std::size_t read : code.decode(word))
    if (code.drives(read))  // of park and neutral the profile's own lint speaks
      out.push_back({Weight::warning, "/lever/positions/" + std::to_string(read) + "/code",
                     std::string(when) + " reads " + code.positions[read]});
}

// "L1 bridged to L2".
std::string short_name(const RangeCode& code, const LineFault& fault) {
  const std::string_view kind = fault.kind->name;
  const std::string &a = code.columns[fault.a].contact, &b = code.columns[fault.b].contact;
  if (kind == "line-stuck-open") return a + " stuck open";
  if (kind == "line-stuck-closed") return a + " stuck closed";
  if (kind == "lines-bridged") return a + " bridged to " + b;
  if (kind == "lines-swapped") return a + " swapped with " + b;
  return kind == "common-lost" ? "common lost" : "";
}

// What a fault does, in the words of the list that it goes into.
struct Invited {
  const char* what;
  bool (*counts)(const Hazard& hazard);
  std::vector<std::string> faults;
};

std::string reading(const RangeCode& code, const std::vector<Hazard>& hazards,
                    bool (*counts)(const Hazard&)) {
  std::string out;
  for (const Hazard& h : hazards) {
    if (!counts(h)) continue;
    out += (out.empty() ? " (" : ", ") + code.positions[h.position];
    if (h.reads != h.position) out += " reads " + code.positions[h.reads];
  }
  return out.empty() ? out : out + ")";
}

std::string few(const std::vector<std::string>& all) {
  constexpr std::size_t kMost = 8;
  std::string out;
  for (std::size_t k = 0; k < std::min(all.size(), kMost); ++k)
    out += (out.empty() ? "" : ", ") + all[k];
  return all.size() > kMost ? out + " and " + std::to_string(all.size() - kMost) + " more" : out;
}

void lint_faults(const Ground& ground, Remarks& out) {
  const RangeCode& code = *ground.code;
  std::array<Invited, 4> invited{
      Invited{"DANGER: single faults by which a driving position reads park or neutral",
              [](const Hazard& h) { return h.danger == Danger::start_in_gear; },
              {}},
      Invited{"DANGER: single faults by which the start-permit contact is closed in a driving "
              "position",
              [](const Hazard& h) { return h.danger == Danger::start_permit_in_gear; },
              {}},
      Invited{"DANGER: single faults by which park or neutral reads as a gear",
              [](const Hazard& h) { return h.danger == Danger::neutral_reads_gear; },
              {}},
      Invited{"DANGER: single faults that confuse reverse with forward",
              [](const Hazard& h) { return h.danger == Danger::reverse_confused; },
              {}}};
  std::vector<std::string> silent_ones;
  for (const LineFault& fault : single_faults(ground)) {
    const std::string name = short_name(code, fault);
    if (name.empty()) continue;  // the lever's and the assembler's doing, not the table's
    const Effect effect = effect_of(ground, {&fault, 1});
    std::vector<Word> words;
    for (std::size_t p = 0; p < code.positions.size(); ++p) words.push_back(effect.at(p));
    auto hazards = hazards_of(code, words);
    std::erase_if(hazards, [](const Hazard& h) { return !h.certain; });
    for (Invited& one : invited)
      if (const std::string at = reading(code, hazards, one.counts); !at.empty())
        one.faults.push_back(name + at);
    const bool lines_change = [&] {
      for (std::size_t p = 0; p < words.size(); ++p)
        if (((words[p].closed ^ code.words[p].closed) & code.lines) != 0) return true;
      return false;
    }();
    if (lines_change && silent(code, words)) silent_ones.push_back(name);
  }
  for (const Invited& one : invited)
    if (!one.faults.empty())
      out.push_back({Weight::warning, "/lever",
                     one.what + std::string(", ") + std::to_string(one.faults.size()) + ": " +
                         few(one.faults)});
  if (!silent_ones.empty())
    out.push_back({Weight::warning, "/lever",
                   "single faults that change a code and never show an invalid one, so that a "
                   "controller cannot notice, " +
                       std::to_string(silent_ones.size()) + ": " + few(silent_ones)});
}

}  // namespace

std::vector<Remark> lint_code(const profile::Profile& profile) {
  Remarks out;
  if (!profile.lever) return out;
  const RangeCode code = code_of(profile);
  const Ground ground(code, nothing_of(code), &profile);
  lint_distances(code, out);
  for (std::size_t p = 0; p + 1 < code.positions.size(); ++p) lint_transition(code, p, out);
  lint_constant(code, {0, code.lines}, "an unplugged connector", out);
  lint_constant(code, {code.lines, code.lines}, "a connector with all lines at ground", out);
  lint_faults(ground, out);
  return out;
}

}  // namespace pinproof::lever
