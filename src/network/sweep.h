// Scores thousands of second faults on top of a first one against a list of
// readings, without building a network for any of them. Pure.
#pragma once

#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "network/resistances.h"

namespace pinproof::network {

/// One ampere from a to b, volt from c to d. A plain resistance has c = a, d = b.
struct Sight {
  std::size_t a = 0, b = 0, c = 0, d = 0;
  friend bool operator==(const Sight&, const Sight&) = default;
};
inline Sight between(std::size_t a, std::size_t b) { return {a, b, a, b}; }

/// A reading of one network (by index: the same pack in another state is another
/// network), with weight 1 / u^2.
struct Sighting {
  Sight sight;
  std::size_t network = 0;
  double ohm = 0;
  double weight = 0;
};

/// A change of conductance between two nodes, `siemens` for each network in turn (0: none
/// there; below 0: less).
struct Change {
  std::size_t a = 0, b = 0;
  const double* siemens = nullptr;
};

/// The first fault lies in the networks that are given, the second is a change of
/// conductance between two nodes. Since R' = R - s d1 d2 with d1, d2 differences of
/// two rows of a table, the sum over all readings is one pass over contiguous
/// numbers: the rows are laid out once for each first fault.
class FaultSweep {
 public:
  /// Readings are kept grouped by network, in the order of the networks. Predictions above
  /// the ceiling count as the ceiling: an open is an open.
  FaultSweep(std::size_t nodes, std::size_t networks, std::span<const Sighting> readings,
             double ceiling_ohm = std::numeric_limits<double>::infinity());

  std::size_t readings() const { return order_.size(); }

  /// The networks with the first fault in them, finite between all nodes; one for each
  /// index. They must live as long as they are used.
  void stand_on(std::span<const Resistances* const> networks);

  /// Sum of weight (predicted - read)^2 with the first fault alone.
  double misfit() const;
  /// The same with each of the second faults in turn. Infinite where one takes away more
  /// than there is. `out` has one place for each.
  void misfits(std::span<const Change> seconds, std::span<double> out) const;

  /// Indices (as given) of the readings that the first fault explains worst, at most `most` of them
  /// and each off by more than `standard_deviations`.
  std::vector<std::size_t> worst(std::size_t most, double standard_deviations) const;
  /// The change of conductance between a and b that would explain this reading; not finite where
  /// none would.
  double siemens_for(std::size_t reading, std::size_t a, std::size_t b) const;

 private:
  struct Segment {
    std::size_t network, begin, end;  // [begin, end) of the lanes, padded with weight 0
  };
  std::size_t nodes_;
  double ceiling_;
  std::size_t lanes_ = 0;
  bool transfers_ = false;
  std::vector<Segment> segments_;
  std::vector<Sighting> sorted_;       // as laid out, without the padding
  std::vector<std::size_t> lane_;      // of each sorted reading
  std::vector<std::size_t> order_;     // its index as given
  std::vector<std::size_t> at_;        // of each reading as given, in sorted
  std::vector<double> root_;           // weight^1/4
  std::vector<double> off_, most_;     // lanes: (predicted - read) / u, and at the ceiling
  std::vector<double> drive_, sense_;  // [node][lane]: (R(a, x) - R(b, x)) / u^1/2; with c and d
  std::span<const Resistances* const> networks_;
};

}  // namespace pinproof::network
