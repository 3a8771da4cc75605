#include "diagnosis/conclusion.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "diagnosis/cover.h"
#include "quantity/phrase.h"
#include "quantity/text.h"

namespace pinproof::diagnosis {
namespace {

constexpr double kNearlyAll = 0.999;
constexpr std::size_t kMostNamed = 10;
constexpr std::size_t kMostMasked = 12;

std::vector<Explanation> named_of(const Ranking& ranking) {
  std::vector<Explanation> out;
  double sum = ranking.none_of_these;
  for (const Explanation& one : ranking.explanations) {
    if (sum > kNearlyAll || out.size() == kMostNamed) break;
    out.push_back(one);
    sum += one.probability;
  }
  return out;
}

std::vector<std::pair<std::string, double>> by_part(const std::vector<Suspect>& suspects,
                                                    const Ranking& ranking) {
  std::map<std::string, double> sums;
  for (std::size_t s = 0; s < suspects.size(); ++s) {
    const Suspect& suspect = suspects[s];
    const std::string part = suspect.edits.empty() ? "order of the pins"
                             : suspect.kind == "bridge" || suspect.kind == "leak"
                                 ? "bridges between pins"
                                 : suspect.part;
    sums[part] += ranking.suspect[s];
  }
  std::vector<std::pair<std::string, double>> out(sums.begin(), sums.end());
  std::stable_sort(out.begin(), out.end(),
                   [](const auto& x, const auto& y) { return x.second > y.second; });
  std::erase_if(out, [](const auto& one) { return one.second < 5e-3; });
  return out;
}

struct Ruled {
  std::vector<Cleared> cleared;
  std::vector<std::string> untested;
  std::vector<bool> suspect;  // cleared, in the order of the suspects
};

// A fault is ruled out where, beside what was found, it would have shown in the readings that
// were taken, at every one of its stated sizes.
bool would_show(const ConclusionInput& in, const std::vector<Probe>& taken,
                const ProbeReadings& now, std::vector<Guess> found, const Suspect& suspect) {
  found.push_back({&suspect, 1});
  return std::all_of(suspect.stated.begin(), suspect.stated.end(), [&](double size) {
    found.back().size = size;
    return separation(now, readings_of(*in.scene, taken, found, in.noise_ohm)) >= kApart;
  });
}

std::vector<bool> cleared_of(const ConclusionInput& in, const Conclusion& c) {
  std::vector<bool> out(in.suspects->size(), false);
  if (c.ranking.readings == 0 || c.ranking.none_of_these > 0.5 || c.named.empty()) return out;
  const std::vector<Guess>& found = c.named.front().faults;
  std::vector<Probe> taken;
  for (const Observation& z : in.readings)  // an overload in a low range proves nothing
    if (std::isfinite(z.ohm) || z.range_end >= in.scene->open_ohm()) taken.push_back(z.probe);
  const ProbeReadings now = readings_of(*in.scene, taken, found, in.noise_ohm);
  for (std::size_t s = 0; s < out.size(); ++s) {
    const Suspect& suspect = (*in.suspects)[s];
    const bool is_found = std::any_of(found.begin(), found.end(),
                                      [&](const Guess& g) { return g.suspect == &suspect; });
    out[s] = !is_found && would_show(in, taken, now, found, suspect);
  }
  return out;
}

Ruled ruled_out(const ConclusionInput& in, const Conclusion& c) {
  Ruled ruled;
  ruled.suspect = cleared_of(in, c);
  std::map<std::string, Cleared> by_part;
  std::map<std::string, bool> any_of;
  for (std::size_t s = 0; s < ruled.suspect.size(); ++s) {
    const Suspect& suspect = (*in.suspects)[s];
    // Bridges and orders are of pairs of pins, not of a part.
    if (suspect.edits.empty() || suspect.kind == "bridge" || suspect.kind == "leak") continue;
    bool& any = any_of[suspect.part];
    any = any || ruled.suspect[s] || c.ranking.suspect[s] > 0.5;
    if (!ruled.suspect[s]) continue;
    Cleared& cleared = by_part[suspect.part];
    cleared.part = suspect.part;
    if (cleared.kinds.empty() || cleared.kinds.back() != suspect.kind)
      cleared.kinds.push_back(suspect.kind);
  }
  for (auto& [part, cleared] : by_part) ruled.cleared.push_back(std::move(cleared));
  for (const auto& [part, any] : any_of)
    if (!any) ruled.untested.push_back(part);
  return ruled;
}

// What the list would show and the readings that were taken would not: skipped, not reached, or
// read in too low a range.
std::size_t not_looked_at(const ConclusionInput& in, const std::vector<bool>& cleared) {
  std::vector<Probe> list;
  for (const std::size_t p : *in.list) list.push_back((*in.probes)[p]);
  const ProbeReadings good = readings_of(*in.scene, list, {}, in.noise_ohm);
  std::size_t out = 0;
  for (std::size_t s = 0; s < cleared.size(); ++s)
    out += !cleared[s] && would_show(in, list, good, {}, (*in.suspects)[s]);
  return out;
}

// Probes enough to see whether anything of a second fault shows through: the list, and
// all pairs at rest.
std::vector<Probe> few_probes(const ConclusionInput& in) {
  std::vector<Probe> out;
  for (const Probe& probe : *in.probes)
    if (probe.situation == 0 && probe.kind == ProbeKind::ohm) out.push_back(probe);
  for (const std::size_t p : *in.list) out.push_back((*in.probes)[p]);
  return out;
}

// The limit holds for every reading of a pair that should be open, likely as it may be by itself.
bool below_insulation(const ConclusionInput& in) {
  const Scene& scene = *in.scene;
  return std::any_of(in.readings.begin(), in.readings.end(), [&](const Observation& z) {
    return z.probe.kind == ProbeKind::ohm && std::isfinite(z.ohm) &&
           z.ohm + 2 * z.u < scene.open_ohm() &&
           scene.good(z.probe.situation).resistances(z.probe.sight.c, z.probe.sight.d) >
               scene.open_ohm();
  });
}

// Single faults of other parts that a good pack would show and this one hides.
std::vector<std::string> masked_by(const ConclusionInput& in, const std::vector<Guess>& named) {
  std::vector<std::string> out;
  const auto few = few_probes(in);
  const ProbeReadings good = readings_of(*in.scene, few, {}, in.noise_ohm);
  const ProbeReadings now = readings_of(*in.scene, few, named, in.noise_ohm);
  for (const Suspect& suspect : *in.suspects) {
    if (suspect.rate < 0.3 || suspect.edits.empty()) continue;
    const Guess second{&suspect, suspect.stated.front()};
    if (std::any_of(named.begin(), named.end(),
                    [&](const Guess& g) { return g.suspect->part == suspect.part; }))
      continue;
    auto both = named;
    both.push_back(second);
    if (separation(good, readings_of(*in.scene, few, {second}, in.noise_ohm)) >= kApart &&
        separation(now, readings_of(*in.scene, few, both, in.noise_ohm)) < kApart &&
        separation(readings_of(*in.scene, *in.probes, named, in.noise_ohm),
                   readings_of(*in.scene, *in.probes, both, in.noise_ohm)) < kApart)
      out.push_back(suspect.text);
    if (out.size() == kMostMasked) break;
  }
  return out;
}

std::string sentence_of(const ConclusionInput& in, const std::vector<bool>& cleared,
                        Conclusion& out) {
  const Ranking& ranking = out.ranking;
  const Explanation* best = ranking.explanations.empty() ? nullptr : &ranking.explanations.front();
  const std::string after = " after " + counted(ranking.readings, "reading");
  if (!out.movement.moved.empty()) {
    out.outcome = Conclusion::End::fault;
    if (out.movement.movers.empty())
      return "Readings moved while they were held, and no single fault explains them all.";
    return "It comes and goes: " + text_of(out.movement.movers.front().fault) + ".";
  }
  if (ranking.readings == 0)
    return in.held.empty() ? "Nothing has been measured yet."
                           : "Nothing moved while it was held. That clears it only within the "
                             "stress that was applied.";
  if (ranking.none_of_these > 0.5)
    return "None of the known faults explains these readings" + after + ".";
  if (!best) return "Nothing explains these readings.";
  if (best->faults.empty() && best->probability > 0.5) {
    if (!out.remarks.empty())
      return "No fault that these probes can name" + after + ", and something was not steady.";
    if (below_insulation(in))
      return "Insulation reads below its limit" + after + ", and no fault stands out.";
    if (not_looked_at(in, cleared) > 0)
      return "Nothing is wrong so far, and not all has been looked at" + after + ".";
    out.outcome = Conclusion::End::good;
    out.next = std::nullopt;  // what the list would ask has been answered by other readings
    return "No fault that these probes can see" + after + ".";
  }
  if (best->probability > in.sure || (best->probability > 0.5 && !out.next)) {
    out.outcome = Conclusion::End::fault;
    return "Found" + after + ": " + text_of(*best) + ".";
  }
  if (1 - ranking.good > in.sure) {
    out.outcome = Conclusion::End::fault;
    return "Something is wrong" + after + ", and more than one fault explains it.";
  }
  return "Not settled" + after + ".";
}

}  // namespace

std::string size_text(const Guess& guess) {
  const Suspect& suspect = *guess.suspect;
  if (!suspect.sized()) return "";
  using network::EditKind;
  const auto kind = suspect.edits.front().kind;
  if (kind == network::EditKind::share) return "about " + percent(guess.size, 0) + " of them";
  if (kind == network::EditKind::factor) return significant(guess.size, 2) + " times what it should be";
  if (guess.size < 1.2 * suspect.size.low) return "next to nothing";
  return "about " + format_si(guess.size, Unit::ohm, 2);
}

std::string text_of(const Guess& guess) {
  const std::string size = size_text(guess);
  return guess.suspect->where + guess.suspect->text + (size.empty() ? "" : " (" + size + ")");
}

std::string text_of(const Explanation& explanation) {
  std::string out;
  for (const Guess& guess : explanation.faults)
    out += (out.empty() ? "" : "; and ") + text_of(guess);
  return out.empty() ? "nothing is wrong" : out;
}

Conclusion conclude(const ConclusionInput& in, const Ranking& ranking,
                    const std::optional<Choice>& next) {
  Conclusion out;
  out.ranking = ranking;
  out.named = named_of(ranking);
  out.next = next;
  out.remarks = in.remarks;
  out.movement = one_mover(*in.scene, *in.suspects, in.held);
  out.by_part = by_part(*in.suspects, ranking);
  auto ruled = ruled_out(in, out);
  if (in.unproven) {
    ruled.cleared.clear();
    ruled.suspect.assign(ruled.suspect.size(), false);
  }
  out.exonerated = std::move(ruled.cleared);
  out.untested = std::move(ruled.untested);
  out.sentence = sentence_of(in, ruled.suspect, out);
  if (out.outcome == Conclusion::End::fault && !out.named.empty() &&
      !out.named.front().faults.empty())
    out.masked = masked_by(in, out.named.front().faults);
  for (const std::string& code : in.codes)
    out.codes.push_back(
        judge_code(in.scene->model().profile(), *in.suspects, ranking, ruled.suspect, code));
  return out;
}

}  // namespace pinproof::diagnosis
