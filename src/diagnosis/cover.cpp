#include "diagnosis/cover.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <random>

namespace pinproof::diagnosis {
namespace {

bool apart(const ProbeReadings& one, const ProbeReadings& other, std::size_t probe) {
  return apart_squared(one, other, probe) >= static_cast<float>(kApart * kApart);
}

// [probe][instance]: does it show.
std::vector<std::vector<std::uint32_t>> shown_by(std::size_t probes, const ProbeReadings& good,
                                                 const std::vector<ProbeReadings>& faulty) {
  std::vector<std::vector<std::uint32_t>> out(probes);
  for (std::size_t f = 0; f < faulty.size(); ++f)
    for (std::size_t p = 0; p < probes; ++p)
      if (apart(good, faulty[f], p)) out[p].push_back(static_cast<std::uint32_t>(f));
  return out;
}

// A greedy cover in which near-ties fall at random, with what later choices made needless taken
// out again.
std::vector<std::size_t> cover(const std::vector<std::vector<std::uint32_t>>& shows,
                               std::size_t instances, std::mt19937_64& random) {
  std::uniform_real_distribution<double> fancy(0.85, 1.15);
  std::vector<int> times(instances, 0);  // shown by so many of the list
  std::vector<std::size_t> list;
  while (true) {
    std::size_t best = shows.size();
    double most = 0;
    for (std::size_t p = 0; p < shows.size(); ++p) {
      double gain = 0;
      for (const std::uint32_t f : shows[p]) gain += times[f] == 0;
      gain *= fancy(random);
      if (gain > most) most = gain, best = p;
    }
    if (best == shows.size()) break;
    list.push_back(best);
    for (const std::uint32_t f : shows[best]) ++times[f];
  }
  for (std::size_t k = 0; k < list.size();) {
    const auto& its = shows[list[k]];
    if (std::all_of(its.begin(), its.end(), [&](auto f) { return times[f] > 1; })) {
      for (const std::uint32_t f : its) --times[f];
      list.erase(list.begin() + static_cast<std::ptrdiff_t>(k));
    } else {
      ++k;
    }
  }
  return list;
}

// The lever and air of a probe, whatever the fixture ties: index of the untied situation.
std::size_t untied(const Scene& scene, const Probe& probe) {
  network::Situation here = scene.situations()[probe.situation];
  here.tied.clear();
  const auto& all = scene.situations();
  return static_cast<std::size_t>(std::find(all.begin(), all.end(), here) - all.begin());
}

// What shows most per effort first: a bad pack is told early.
std::vector<std::size_t> in_order(const Scene& scene, const std::vector<Probe>& probes,
                                  const std::vector<std::vector<std::uint32_t>>& shows,
                                  const std::vector<Instance>& instances,
                                  std::vector<std::size_t> list) {
  std::vector<bool> shown(instances.size(), false);
  std::vector<std::size_t> out;
  std::size_t now = scene.situations().size();
  while (!list.empty()) {
    std::size_t best = 0;
    double most = -1;
    for (std::size_t k = 0; k < list.size(); ++k) {
      double gain = 0;
      for (const std::uint32_t f : shows[list[k]])
        if (!shown[f]) gain += std::sqrt(instances[f].rate);
      gain /= cost_of(scene, now, probes[list[k]], {});
      if (gain > most) most = gain, best = k;
    }
    for (const std::uint32_t f : shows[list[best]]) shown[f] = true;
    now = probes[list[best]].situation;
    out.push_back(list[best]);
    list.erase(list.begin() + static_cast<std::ptrdiff_t>(best));
  }
  return out;
}

// Moves each probe of the list to the earliest situation in which another shows what this one
// alone shows: fewer lever and air moves.
void gather(const Scene& scene, const std::vector<Probe>& probes,
            const std::vector<std::vector<std::uint32_t>>& shows, std::size_t instances,
            std::vector<std::size_t>& list) {
  std::vector<int> times(instances, 0);
  for (const std::size_t p : list)
    for (const std::uint32_t f : shows[p]) ++times[f];
  for (std::size_t& p : list) {
    std::vector<std::uint32_t> alone;
    for (const std::uint32_t f : shows[p])
      if (times[f] == 1) alone.push_back(f);
    const std::size_t now = untied(scene, probes[p]);
    for (std::size_t q = 0; q < probes.size(); ++q) {
      if (untied(scene, probes[q]) >= now ||
          !std::includes(shows[q].begin(), shows[q].end(), alone.begin(), alone.end()))
        continue;
      for (const std::uint32_t f : shows[p]) --times[f];
      for (const std::uint32_t f : shows[q]) ++times[f];
      p = q;
      break;
    }
  }
}

}  // namespace

std::vector<Instance> instances_of(const std::vector<Suspect>& suspects) {
  std::vector<Instance> out;
  for (const Suspect& suspect : suspects)
    for (const double size : suspect.stated)
      out.push_back({&suspect, size, suspect.rate / static_cast<double>(suspect.stated.size())});
  return out;
}

ProbeReadings readings_of(const Scene& scene, const std::vector<Probe>& probes,
                          const std::vector<Guess>& faults, double noise_ohm) {
  const std::vector<float> none(probes.size());
  ProbeReadings out{none, none, none, none};
  std::map<std::size_t, network::Altering> packs;  // of the situations that are asked for
  for (std::size_t p = 0; p < probes.size(); ++p) {
    auto it = packs.find(probes[p].situation);
    if (it == packs.end())
      it = packs.emplace(probes[p].situation, scene.altered(probes[p].situation, faults)).first;
    const network::Altering& pack = it->second;
    const Expected e = scene.expected(probes[p], pack.resistances);
    const double own = probes[p].kind == ProbeKind::fraction ? 0 : e.slope * noise_ohm;
    out.y[p] = static_cast<float>(e.y);
    const double u =
        std::sqrt(e.vague * e.vague + own * own + tolerance_variance(scene, probes[p], pack, e));
    const bool share = probes[p].kind == ProbeKind::fraction;
    out.u[p] = static_cast<float>(u);
    out.ohm[p] = static_cast<float>(share ? e.y : std::sinh(e.y));
    out.u_ohm[p] = static_cast<float>(share ? u : u * std::cosh(e.y));
  }
  return out;
}

float apart_squared(const ProbeReadings& one, const ProbeReadings& other, std::size_t p) {
  const auto squared = [p](const auto& x1, const auto& x2, const auto& u1, const auto& u2) {
    const float d = x1[p] - x2[p];
    return d * d / (u1[p] * u1[p] + u2[p] * u2[p]);
  };
  return std::max(squared(one.y, other.y, one.u, other.u),
                  squared(one.ohm, other.ohm, one.u_ohm, other.u_ohm));
}

double separation(const ProbeReadings& one, const ProbeReadings& other) {
  float most = 0;
  for (std::size_t p = 0; p < one.y.size(); ++p)
    most = std::max(most, apart_squared(one, other, p));
  return std::sqrt(most);
}

std::vector<std::size_t> shortest_list(const Scene& scene, const std::vector<Probe>& probes,
                                       const ProbeReadings& good,
                                       const std::vector<Instance>& instances,
                                       const std::vector<ProbeReadings>& faulty) {
  constexpr int kTries = 60;
  const auto shows = shown_by(probes.size(), good, faulty);
  std::mt19937_64 random(1);
  std::vector<std::size_t> best;
  for (int i = 0; i < kTries; ++i) {
    auto list = cover(shows, instances.size(), random);
    if (best.empty() || list.size() < best.size()) best = std::move(list);
  }
  gather(scene, probes, shows, instances.size(), best);
  return in_order(scene, probes, shows, instances, best);
}

}  // namespace pinproof::diagnosis
