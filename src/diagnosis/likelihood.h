// How well a set of faults explains a list of readings. Pure.
#pragma once

#include <vector>

#include "diagnosis/scene.h"

namespace pinproof::diagnosis {

/// A reading as the diagnosis takes it.
struct Observation {
  Probe probe;
  double ohm = 0;               ///< or the fraction; infinite for an open
  double u = 0;                 ///< standard uncertainty, same unit; of the instrument alone
  double range_end = INFINITY;  ///< an open says no more than that it is above this
};

/// Variance of a reading's y by the tolerances of the parts, each by itself and their lot.
double tolerance_variance(const Scene& scene, const Probe& probe, const network::Altering& pack,
                          const Expected& expected);

/// What all readings of one sitting may be off by together (standard deviations).
struct SharedErrors {
  double warmth_K = 0;  ///< the pack's temperature is not what was entered
  double lead_ohm = 0;  ///< the lead null
};

struct FaultFit {
  std::vector<Guess> guesses;  ///< with the sizes that fit best
  double log_likelihood =
      0;                 ///< ln p(readings | these faults): sizes integrated, errors correlated
  double log_occam = 0;  ///< part of it: what integrating the sizes costs
  double misfit = 0;     ///< Mahalanobis distance squared at the best sizes
};

class Likelihood {
 public:
  /// All must outlive this.
  Likelihood(const Scene& scene, const std::vector<Observation>& readings, SharedErrors shared);

  /// ln N(z; mu(faults), C) with C = instrument + J Sigma J^T: tolerances of the parts, the lot,
  /// warmth and leads are shared between readings and never added as if independent.
  /// Unknown sizes are fitted (Gauss-Newton in ln size) and integrated by Laplace's formula under a
  /// prior that is flat in ln size, so that a fault which could explain anything explains little.
  FaultFit fit(std::vector<Guess> guesses) const;
  /// The same with the sizes as given.
  FaultFit at(std::vector<Guess> guesses) const;

  /// ln of each reading's own density with these faults, as if it were the only one.
  std::vector<double> one_by_one(const std::vector<Guess>& guesses) const;

  /// Greatest |read - predicted| of a good pack, each by its own standard deviation.
  double farthest() const;

  const Scene& scene() const { return scene_; }
  const std::vector<Observation>& readings() const { return readings_; }

 private:
  struct Prediction;
  class Covariance;
  Prediction predict(const std::vector<Guess>& guesses, bool with_tolerances) const;
  template <class Vector, class Matrix>
  double below_nothing(const Vector& off, const Matrix& shared, const Covariance& covariance) const;
  double gauss_newton(std::vector<Guess>& guesses) const;  // ln of Laplace's factor

  const Scene& scene_;
  const std::vector<Observation>& readings_;
  SharedErrors shared_;
  std::vector<std::size_t> used_;  // situations with readings
};

}  // namespace pinproof::diagnosis
