#include "diagnosis/trials.h"

#include "diagnosis/drawn_pack.h"
#include "quantity/statistics.h"

namespace pinproof::diagnosis {
namespace {

std::size_t middle_of(const std::vector<double>& counts) {
  return counts.empty() ? 0 : static_cast<std::size_t>(upper_median_of(counts));
}

}  // namespace

Trials trials(const Scene& scene, const std::vector<Suspect>& suspects,
              const std::vector<Probe>& probes, const Coverage& coverage,
              const SearchOptions& options, int packs) {
  Trials out;
  out.packs = static_cast<std::size_t>(packs);
  std::vector<double> good, faulty;  // numbers of probings
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
    good.push_back(static_cast<double>(sound.readings().size()));
    const auto& said = sound.ranking().explanations;
    out.false_alarms += said.empty() || !said.front().faults.empty();
    if (seen.empty()) continue;
    const Instance& fault = seen[random() % seen.size()];
    Search bad = run({Guess{fault.suspect, fault.size}}, seed);
    faulty.push_back(static_cast<double>(bad.readings().size()));
    const auto& found = bad.ranking().explanations;
    const bool named = !found.empty() && found.front().faults.size() == 1 &&
                       found.front().faults.front().suspect == fault.suspect;
    out.named += named;
    out.unnoticed += bad.normal() && !named;
  }
  out.good_median = middle_of(good);
  out.faulty_median = middle_of(faulty);
  return out;
}

}  // namespace pinproof::diagnosis
