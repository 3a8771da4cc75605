// What a bench and its questions can see of all the faults that a pack may have, by the metrics of
// IEEE Std 1522 and MIL-STD-2165 (from memory). Pure.
#pragma once

#include <string>
#include <vector>

#include "diagnosis/cover.h"

namespace pinproof::diagnosis {

/// Faults that no question tells from each other, the fault itself first.
struct Group {
  Instance fault;
  double separation = 0;              ///< from a good pack, in standard deviations
  std::vector<const Suspect*> alike;  ///< the others
};

struct Coverage {
  std::vector<Group> groups;      ///< one for each instance
  std::vector<std::size_t> list;  ///< the go/no-go list, indices into the probes
  double noise_ohm = 0;

  std::size_t faults() const { return groups.size(); }
  std::size_t detected() const;
  /// Detected over all; unweighted, or by rates.
  double detection_rate(bool by_rate) const;
  /// Of the detected, those in a group of at most `size`.
  double isolation_rate(std::size_t size, bool by_rate) const;
  double expected_group(bool by_rate) const;
};

struct CoverageInput {
  const Scene* scene = nullptr;
  const std::vector<Suspect>* suspects = nullptr;
  const std::vector<Probe>* probes = nullptr;
  double noise_ohm = 0.05;
};

/// Every instance against the good pack and against every other suspect, which may take the
/// size that suits it best. |difference| / hypot(u1, u2) of kApart at any probe tells two apart.
Coverage coverage_of(const CoverageInput& input);

/// The smallest separation of these readings from what `rival` could show at any size.
double closest(const CoverageInput& input, const ProbeReadings& readings, const ProbeReadings& good,
               const Suspect& rival, const ProbeReadings& at_low, const ProbeReadings& at_high);

/// Why this bench does not see it, and which test would: in words. Empty where it is seen.
std::string why_unseen(const Scene& scene, const Group& group);

}  // namespace pinproof::diagnosis
