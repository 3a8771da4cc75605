#include "diagnosis/cover.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace pinproof::diagnosis {
namespace {

bool apart(const Readings& one, const Readings& other, std::size_t probe) {
  const float d = one.y[probe] - other.y[probe];
  const float u2 = one.u[probe] * one.u[probe] + other.u[probe] * other.u[probe];
  return d * d >= static_cast<float>(kApart * kApart) * u2;
}

// [probe][instance]: does it show.
std::vector<std::vector<std::uint32_t>> shown_by(std::size_t probes, const Readings& good,
                                                 const std::vector<Readings>& faulty) {
  std::vector<std::vector<std::uint32_t>> out(probes);
  for (std::size_t f = 0; f < faulty.size(); ++f)
    for (std::size_t p = 0; p < probes; ++p)
      if (apart(good, faulty[f], p)) out[p].push_back(static_cast<std::uint32_t>(f));
  return out;
}

}  // namespace

std::vector<Instance> instances_of(const std::vector<Suspect>& suspects) {
  std::vector<Instance> out;
  for (const Suspect& suspect : suspects)
    for (const double size : suspect.stated)
      out.push_back({&suspect, size, suspect.rate / static_cast<double>(suspect.stated.size())});
  return out;
}

Readings readings_of(const Scene& scene, const std::vector<Probe>& probes,
                     const std::vector<Guess>& faults, double noise_ohm) {
  Readings out{std::vector<float>(probes.size()), std::vector<float>(probes.size())};
  std::vector<network::Altering> packs;
  for (std::size_t s = 0; s < scene.situations().size(); ++s)
    packs.push_back(scene.altered(s, faults));
  for (std::size_t p = 0; p < probes.size(); ++p) {
    const network::Altering& pack = packs[probes[p].situation];
    const Expected e = scene.expected(probes[p], pack.resistances);
    const double own = probes[p].kind == Probe::Kind::fraction ? 0 : e.slope * noise_ohm;
    out.y[p] = static_cast<float>(e.y);
    out.u[p] = static_cast<float>(
        std::sqrt(e.vague * e.vague + own * own + tolerance_variance(scene, probes[p], pack, e)));
  }
  return out;
}

double separation(const Readings& one, const Readings& other) {
  float most = 0;
  for (std::size_t p = 0; p < one.y.size(); ++p) {
    const float d = one.y[p] - other.y[p];
    const float u2 = one.u[p] * one.u[p] + other.u[p] * other.u[p];
    if (d * d > most * u2) most = d * d / u2;
  }
  return std::sqrt(most);
}

std::vector<std::size_t> shortest_list(const Scene& scene, const std::vector<Probe>& probes,
                                       const Readings& good, const std::vector<Instance>& instances,
                                       const std::vector<Readings>& faulty) {
  const auto shows = shown_by(probes.size(), good, faulty);
  std::vector<int> times(instances.size(), 0);  // shown by so many of the list
  std::vector<std::size_t> list;
  while (true) {
    std::size_t best = probes.size();
    double most = 0;
    for (std::size_t p = 0; p < probes.size(); ++p) {
      double gain = 0;
      for (const std::uint32_t f : shows[p]) gain += times[f] == 0;
      if (gain > most) most = gain, best = p;
    }
    if (best == probes.size()) break;
    list.push_back(best);
    for (const std::uint32_t f : shows[best]) ++times[f];
  }
  // What later ones have made needless.
  for (std::size_t k = 0; k < list.size();) {
    const auto& its = shows[list[k]];
    if (std::all_of(its.begin(), its.end(), [&](auto f) { return times[f] > 1; })) {
      for (const std::uint32_t f : its) --times[f];
      list.erase(list.begin() + static_cast<std::ptrdiff_t>(k));
    } else {
      ++k;
    }
  }
  std::stable_sort(list.begin(), list.end(), [&](std::size_t x, std::size_t y) {
    return probes[x].situation < probes[y].situation;
  });
  (void)scene;
  return list;
}

}  // namespace pinproof::diagnosis
