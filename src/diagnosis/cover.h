// Which faults which probes would show, and the shortest list that shows all. Pure.
#pragma once

#include <cstdint>
#include <vector>

#include "diagnosis/likelihood.h"
#include "diagnosis/probes.h"

namespace pinproof::diagnosis {

/// A suspect at one of its stated sizes.
struct Instance {
  const Suspect* suspect = nullptr;
  double size = 1;
  double rate = 0;  ///< the suspect's, shared among its stated sizes
};
std::vector<Instance> instances_of(const std::vector<Suspect>& suspects);

/// What every probe reads, and how far it may be off, tolerances and instrument together.
struct ProbeReadings {
  std::vector<float> y;
  std::vector<float> u;
  /// The same as ohms (of the bend): where a good part's own spread is as wide as its value,
  /// logarithms make the distance to a bad one look small.
  std::vector<float> ohm;
  std::vector<float> u_ohm;
};
/// Squared distance at one probe, in standard deviations: as y or as ohms, whichever is more.
float apart_squared(const ProbeReadings& one, const ProbeReadings& other, std::size_t probe);
/// `noise_ohm`: standard uncertainty of the instrument at every ohm probe.
ProbeReadings readings_of(const Scene& scene, const std::vector<Probe>& probes,
                          const std::vector<Guess>& faults, double noise_ohm);

/// Greatest |difference| / hypot(u1, u2) over the probes.
double separation(const ProbeReadings& one, const ProbeReadings& other);
/// Standard deviations that tell two faults apart.
inline constexpr double kApart = 5;

/// The go/no-go list: as few probes as a greedy cover and its pruning find such that every
/// instance that any probe separates from the good pack is separated by one of the list. At most
/// 1 + ln n times the shortest (Chvatal 1979). In an order with few lever and air moves.
std::vector<std::size_t> shortest_list(const Scene& scene, const std::vector<Probe>& probes,
                                       const ProbeReadings& good,
                                       const std::vector<Instance>& instances,
                                       const std::vector<ProbeReadings>& faulty);

}  // namespace pinproof::diagnosis
