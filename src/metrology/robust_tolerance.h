// Tolerance factors for limits that outliers among the good parts cannot move: median +- k sigma
// with a robust sigma. Pure, and the same at each call.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "metrology/lot_statistics.h"

namespace pinproof::metrology {

enum class SpreadMeasure {
  mad,  ///< 1.4826 times the median distance from the median
  iqr   ///< (Q3 - Q1) / 1.35, quartiles of type 7
};

/// Median and robust sigma of the values (one at least); sigma is at least `floor`.
Robust robust_of(std::span<const double> values, SpreadMeasure spread, double floor = 0);

/// k for median +- k sigma of n normal parts (n >= 7) to cover at least `coverage` of all with
/// `confidence`, both inside (0, 1); never less than two_sided_factor. Coverage / confidence of
/// 0.95 / 0.95, 0.99 / 0.95 and 0.99 / 0.99: smoothed over n from simulations of 4 million samples
/// each, n of 7 to 803, standard error below 0.1 % (0.2 % for the last pair); other pairs:
/// simulated at the call, within 1 s up to n of 10 000, to some 0.5 %. Throws std::domain_error
/// outside those ranges.
double robust_factor(std::size_t n, double coverage, double confidence, SpreadMeasure spread);

/// The same by `runs` simulated samples alone, not held above two_sided_factor.
double simulated_robust_factor(std::size_t n, double coverage, double confidence,
                               SpreadMeasure spread, std::size_t runs, std::uint64_t seed);

/// Half width, in deviations, of an interval that covers `coverage` of a normal distribution and
/// whose middle lies `off` deviations from the mean.
double covering_half_width(double off, double coverage);

}  // namespace pinproof::metrology
