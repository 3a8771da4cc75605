#include "diagnosis/coverage.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>

namespace pinproof::diagnosis {
namespace {

// No size of the rival shows what is read here: y moves one way with the size.
bool out_of_reach(const ProbeReadings& readings, const ProbeReadings& low,
                  const ProbeReadings& high) {
  constexpr float kFar = static_cast<float>(kApart) * 1.5F;
  for (std::size_t p = 0; p < readings.y.size(); ++p) {
    const float margin = kFar * readings.u[p];
    if (readings.y[p] < std::min(low.y[p], high.y[p]) - margin ||
        readings.y[p] > std::max(low.y[p], high.y[p]) + margin)
      return true;
  }
  return false;
}

// Probes at which a fault shows most, strongest first.
std::vector<std::size_t> strongest(const ProbeReadings& readings, const ProbeReadings& good,
                                   std::size_t most) {
  std::vector<std::size_t> out(readings.y.size());
  std::iota(out.begin(), out.end(), std::size_t{0});
  most = std::min(most, out.size());
  std::partial_sort(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(most), out.end(),
                    [&](std::size_t x, std::size_t y) {
                      return apart_squared(readings, good, x) > apart_squared(readings, good, y);
                    });
  out.resize(most);
  return out;
}

// The size at which the suspect reads y at this probe, by halving the interval of ln size.
double size_that_reads(const Scene& scene, const Probe& probe, const Suspect& suspect, double y) {
  const auto shown = [&](double size) {
    const auto pack = scene.altered(probe.situation, {Guess{&suspect, size}});
    return scene.expected(probe, pack.resistances).y;
  };
  double low = std::log(suspect.size.low), high = std::log(suspect.size.high);
  const bool rises = shown(suspect.size.high) > shown(suspect.size.low);
  for (int i = 0; i < 24; ++i) {
    const double middle = (low + high) / 2;
    ((shown(std::exp(middle)) < y) == rises ? low : high) = middle;
  }
  return std::exp((low + high) / 2);
}

std::vector<ProbeReadings> readings_at(const CoverageInput& in, bool high) {
  std::vector<ProbeReadings> out;
  for (const Suspect& suspect : *in.suspects)
    out.push_back(readings_of(*in.scene, *in.probes,
                              {Guess{&suspect, high ? suspect.size.high : suspect.size.low}},
                              in.noise_ohm));
  return out;
}

template <class Weight>
double share(const std::vector<Group>& groups, Weight top, Weight bottom) {
  double part = 0, all = 0;
  for (const Group& group : groups) part += top(group), all += bottom(group);
  return all > 0 ? part / all : 1;
}

double weight(const Group& group, bool by_rate) { return by_rate ? group.fault.rate : 1; }

}  // namespace

double closest(const CoverageInput& in, const ProbeReadings& readings, const ProbeReadings& good,
               const Suspect& rival, const ProbeReadings& at_low, const ProbeReadings& at_high) {
  if (!rival.sized()) return separation(readings, at_low);
  if (out_of_reach(readings, at_low, at_high)) return INFINITY;
  double best = INFINITY;
  for (const std::size_t p : strongest(readings, good, 2)) {
    const double size = size_that_reads(*in.scene, (*in.probes)[p], rival, readings.y[p]);
    best = std::min(best, separation(readings, readings_of(*in.scene, *in.probes,
                                                           {Guess{&rival, size}}, in.noise_ohm)));
    if (best < kApart) break;
  }
  return best;
}

Coverage coverage_of(const CoverageInput& in) {
  Coverage out;
  out.noise_ohm = in.noise_ohm;
  const auto& scene = *in.scene;
  const auto instances = instances_of(*in.suspects);
  const ProbeReadings good = readings_of(scene, *in.probes, {}, in.noise_ohm);
  const auto low = readings_at(in, false), high = readings_at(in, true);
  std::vector<ProbeReadings> faulty;
  for (const Instance& one : instances)
    faulty.push_back(readings_of(scene, *in.probes, {Guess{one.suspect, one.size}}, in.noise_ohm));
  for (std::size_t f = 0; f < instances.size(); ++f) {
    Group group{instances[f], separation(good, faulty[f]), {}};
    for (std::size_t s = 0; s < in.suspects->size() && group.separation >= kApart; ++s) {
      const Suspect& rival = (*in.suspects)[s];
      if (&rival != group.fault.suspect &&
          closest(in, faulty[f], good, rival, low[s], high[s]) < kApart)
        group.alike.push_back(&rival);
    }
    out.groups.push_back(std::move(group));
  }
  out.list = shortest_list(scene, *in.probes, good, instances, faulty);
  return out;
}

std::size_t Coverage::detected() const {
  return static_cast<std::size_t>(std::count_if(
      groups.begin(), groups.end(), [](const Group& group) { return group.separation >= kApart; }));
}

double Coverage::detection_rate(bool by_rate) const {
  const std::function<double(const Group&)> seen = [&](const Group& g) {
    return g.separation >= kApart ? weight(g, by_rate) : 0.0;
  };
  const std::function<double(const Group&)> all = [&](const Group& g) {
    return weight(g, by_rate);
  };
  return share(groups, seen, all);
}

double Coverage::isolation_rate(std::size_t size, bool by_rate) const {
  const std::function<double(const Group&)> alone = [&](const Group& g) {
    return g.separation >= kApart && g.alike.size() < size ? weight(g, by_rate) : 0.0;
  };
  const std::function<double(const Group&)> seen = [&](const Group& g) {
    return g.separation >= kApart ? weight(g, by_rate) : 0.0;
  };
  return share(groups, alone, seen);
}

double Coverage::expected_group(bool by_rate) const {
  const std::function<double(const Group&)> sized = [&](const Group& g) {
    return g.separation >= kApart ? weight(g, by_rate) * static_cast<double>(1 + g.alike.size())
                                  : 0.0;
  };
  const std::function<double(const Group&)> seen = [&](const Group& g) {
    return g.separation >= kApart ? weight(g, by_rate) : 0.0;
  };
  return share(groups, sized, seen);
}

std::string why_unseen(const Scene& scene, const Group& group) {
  if (group.separation >= kApart) return "";
  const Suspect& suspect = *group.fault.suspect;
  if (is_equal_part_swap(scene.model(), suspect))
    return "equal parts: drive each coil and see which valve or pressure answers";
  const bool load = std::any_of(suspect.edits.begin(), suspect.edits.end(),
                                [](const auto& edit) { return edit.when == network::When::load; });
  if (suspect.kind == "hot-insulation")
    return "shows when it is hot only: read coil to case after a heat soak";
  if (load) return "shows under current only: a four-wire drop at 0.5 to 2 A, early and late";
  return "inside what good packs differ by: compare with its sister parts, or with a known-good "
         "pack";
}

}  // namespace pinproof::diagnosis
