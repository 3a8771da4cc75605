// What every test of the diagnosis stands on: a profile's model, its suspects and probes.
#pragma once

#include <string>
#include <vector>

#include "diagnosis/coverage.h"
#include "diagnosis/drawn_pack.h"
#include "diagnosis/search.h"
#include "paths.h"
#include "profile/load.h"

namespace pinproof::diagnosis {

struct Desk {
  /// `tolerance` 0: what the profile's limits say.
  Desk(const std::string& name, double tolerance, const Means& means, double noise = 0.05)
      : profile(
            profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json")),
        model(profile, options(tolerance)),
        scene(model, usual_situations(profile)),
        suspects(suspects_of(model)),
        probes(probes_of(scene, means)),
        instances(instances_of(suspects)),
        noise_ohm(noise) {
    good = readings_of(scene, probes, {}, noise);
    for (const Instance& one : instances)
      faulty.push_back(readings_of(scene, probes, {Guess{one.suspect, one.size}}, noise));
    list = shortest_list(scene, probes, good, instances, faulty);
    search.noise_ohm = noise;
  }
  static network::ModelOptions options(double tolerance) {
    network::ModelOptions out;
    if (tolerance > 0) out.tolerance = tolerance;
    return out;
  }
  const Suspect& suspect(const std::string& kind, const std::string& part) const {
    for (const Suspect& one : suspects)
      if (one.kind == kind && one.part == part) return one;
    throw std::runtime_error("no suspect " + kind + " of " + part);
  }
  const Suspect& pair(const std::string& kind, const std::string& a, const std::string& b) const {
    for (const Suspect& one : suspects)
      if (one.kind == kind && one.nodes == std::vector<std::string>{a, b}) return one;
    throw std::runtime_error("no " + kind + " of " + a + " and " + b);
  }
  /// Asks until nothing is left to ask.
  template <class Read>
  Search run(const SearchOptions& with, Read read) const {
    Search out(scene, suspects, probes, list, with);
    while (const auto choice = out.next()) out.add(read(probes[choice->probe]));
    return out;
  }
  Search run(const std::vector<Guess>& faults, std::uint64_t seed,
             const SearchOptions& with) const {
    DrawnPack pack(scene, faults, noise_ohm, seed);
    return run(with, [&](const Probe& probe) { return pack.read(probe); });
  }

  profile::Profile profile;
  network::Model model;
  Scene scene;
  std::vector<Suspect> suspects;
  std::vector<Probe> probes;
  std::vector<Instance> instances;
  ProbeReadings good;
  std::vector<ProbeReadings> faulty;
  std::vector<std::size_t> list;
  double noise_ohm;
  SearchOptions search;
};

inline bool same_faults(const std::vector<Guess>& x, const std::vector<Guess>& y) {
  if (x.size() != y.size()) return false;
  return std::all_of(x.begin(), x.end(), [&](const Guess& one) {
    return std::any_of(y.begin(), y.end(),
                       [&](const Guess& other) { return one.suspect == other.suspect; });
  });
}

}  // namespace pinproof::diagnosis
