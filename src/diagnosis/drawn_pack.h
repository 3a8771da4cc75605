// A pack drawn at random around its model, with faults, and what a meter reads there: for studies
// of coverage. Pure: a seed repeats it.
#pragma once

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "diagnosis/likelihood.h"
#include "diagnosis/probes.h"
#include "diagnosis/rank.h"

namespace pinproof::diagnosis {

inline network::Model draw(const network::Model& model, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::vector<double> ohm;
  std::map<std::string, double> coil;  // both halves of a coil are one winding
  for (const auto& element : model.elements()) {
    double relative = element.ohm > 0 ? element.sd_ohm / element.ohm : 0;
    double deviation = normal(random);
    if (element.kind == profile::PartKind::coil) {
      relative /= std::sqrt(2.0);
      deviation = coil.try_emplace(element.part, deviation).first->second;
    }
    ohm.push_back(element.ohm * std::max(0.05, 1 + relative * deviation));
  }
  return model.with(ohm);
}

class DrawnPack {
 public:
  DrawnPack(const Scene& scene, std::vector<Guess> faults, double noise_ohm, std::uint64_t seed)
      : random_(seed),
        model_(draw(scene.model(), random_)),
        situations_(scene.situations()),
        scene_(model_, {}),  // of many situations few are asked for
        faults_(std::move(faults)),
        noise_ohm_(noise_ohm) {}

  Observation read(const Probe& probe) {
    return read_in(probe, situations_[probe.situation]);
  }
  /// What the probe shows while the pack is in fact in another situation.
  Observation read_in(const Probe& probe, const network::Situation& there_in) {
    const std::size_t situation = scene_.situation(there_in);
    std::normal_distribution<double> normal;
    auto [it, fresh] = packs_.try_emplace(situation, 0);
    if (fresh) it->second = scene_.altered(situation, faults_).resistances;
    const double there = scene_.expected(probe, it->second).ohm;
    Observation out{probe, 0, noise_ohm_, 100e6};
    if (probe.kind == ProbeKind::fraction) {
      out.u = 0.005, out.ohm = there + out.u * normal(random_);
    } else {
      out.ohm = there + noise_ohm_ * normal(random_);
      if (out.ohm > out.range_end) out.ohm = INFINITY;
    }
    return out;
  }

 private:
  std::mt19937_64 random_;
  network::Model model_;
  std::vector<network::Situation> situations_;
  Scene scene_;
  std::vector<Guess> faults_;
  double noise_ohm_;
  std::map<std::size_t, network::Resistances> packs_;
};

}  // namespace pinproof::diagnosis
