// Every explanation of the readings, with its probability. Pure.
#pragma once

#include <vector>

#include "diagnosis/likelihood.h"
#include "diagnosis/suspect.h"

namespace pinproof::diagnosis {

/// Before any reading. The rest of `faulty` is split among the suspects by their rates.
struct Priors {
  double faulty = 0.5;    ///< that something is wrong at all
  double unknown = 0.02;  ///< of the faulty: something that is not in the list
  double two = 0.1;       ///< of the faulty: two faults
  double three = 0.01;    ///< of the faulty: three
  /// Factors on the suspects' rates (trouble codes point); empty: none.
  std::vector<double> weights;
};

struct Explanation {
  std::vector<Guess> faults;  ///< empty: a good pack
  double probability = 0;
  double misfit = 0;  ///< Mahalanobis distance squared
};

struct Ranking {
  /// Best first; the good pack is among them. What has less than 1e-6 is left out.
  std::vector<Explanation> explanations;
  double none_of_these = 0;  ///< probability
  double good = 0;           ///< of the good pack
  /// How unusual the best explanation's misfit is (chi-squared tail); small: it does not fit.
  double fit = 1;
  std::size_t readings = 0;
  /// Of each suspect, by itself or with others, in their order; and before any reading.
  std::vector<double> suspect, suspect_before;
};

/// Posterior over the good pack, all single and double faults, triple faults where nothing
/// smaller fits, and "none of these": a pack of which an unknown share of readings is
/// anything at all. Sets are screened quickly (see screening.h) and the promising ones
/// weighed with correlated errors and integrated sizes (see likelihood.h).
Ranking rank(const Scene& scene, const std::vector<Suspect>& suspects,
             const std::vector<Observation>& readings, const SharedErrors& shared,
             const Priors& priors = {});

/// What a set of faults comes to: which pins end up where, and the suspects that are not about
/// order. Two exchanges that share a pin have several names for one wiring.
std::pair<std::vector<std::size_t>, std::vector<const Suspect*>> wiring_of(
    std::size_t nodes, const std::vector<Guess>& faults);

/// True where the good pack explains all readings well: no double fault need be looked for.
bool all_normal(const Scene& scene, const std::vector<Observation>& readings,
                const SharedErrors& shared);

}  // namespace pinproof::diagnosis
