#include "diagnosis/trials.h"

#include <algorithm>

#include "diagnosis/drawn_pack.h"

namespace pinproof::diagnosis {
namespace {

std::size_t median(std::vector<std::size_t> counts) {
  if (counts.empty()) return 0;
  std::sort(counts.begin(), counts.end());
  return counts[counts.size() / 2];
}

}  // namespace

Trials trials(const Scene& scene, const std::vector<Suspect>& suspects,
              const std::vector<Probe>& probes, const Coverage& coverage,
              const SearchOptions& options, int packs) {
  Trials out;
  out.packs = static_cast<std::size_t>(packs);
  std::vector<std::size_t> good, faulty;
  std::vector<Instance> seen;
  for (const Group& group : coverage.groups)
    if (group.separation >= kApart) seen.push_back(group.fault);
  const auto run = [&](const std::vector<Guess>& faults, std::uint64_t seed) {
    DrawnPack pack(scene, faults, options.noise_ohm, seed);
    Search search(scene, suspects, probes, coverage.list, options);
    while (const auto choice = search.next()) search.add(pack.read(probes[choice->probe]));
    return search;
  };
  std::mt19937_64 random(1);
  for (std::uint64_t seed = 1; seed <= out.packs; ++seed) {
    Search sound = run({}, seed);
    good.push_back(sound.readings().size());
    const auto& said = sound.ranking().explanations;
    out.false_alarms += said.empty() || !said.front().faults.empty();
    if (seen.empty()) continue;
    const Instance& fault = seen[random() % seen.size()];
    Search bad = run({Guess{fault.suspect, fault.size}}, seed);
    faulty.push_back(bad.readings().size());
    const auto& found = bad.ranking().explanations;
    const bool named = !found.empty() && found.front().faults.size() == 1 &&
                       found.front().faults.front().suspect == fault.suspect;
    out.named += named;
    out.unnoticed += bad.normal() && !named;
  }
  out.good_median = median(good), out.faulty_median = median(faulty);
  return out;
}

}  // namespace pinproof::diagnosis
