// A lot as numbers: its middle and spread in spite of outliers, its outliers, its capability. Pure.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "quantity/quantity.h"
#include "quantity/statistics.h"

namespace pinproof::metrology {

/// Median and (Q3 - Q1) / 1.35 (AEC-Q001 Rev D, quartiles of type 7); sigma is at least `floor`:
/// quantised readings may have no spread of their own.
struct Robust {
  double middle = 0, sigma = 0;
  bool floored = false;
};
Robust robust_of(std::span<const double> values, double floor = 0);

/// Part average testing: middle +- 6 sigma, never beyond `specification`.
Interval part_average_limits(const Robust& robust, const Interval& specification);

/// Greatest |x - mean| / s that n normal values have with probability 1 - alpha (Grubbs 1969).
double grubbs_critical(std::size_t n, double alpha, bool two_sided);

struct EsdStep {
  std::size_t index = 0;  ///< of the value that was taken out
  double R = 0, lambda = 0;
};
struct Esd {
  std::vector<EsdStep> steps;
  std::size_t outliers = 0;  ///< the first so many steps took out outliers
};
/// Generalised extreme studentised deviate test for up to `most` outliers (Rosner 1983). Stops
/// early where no spread is left. Needs most + 2 < n.
Esd generalised_esd(std::span<const double> values, std::size_t most, double alpha);

/// How a lot stands in its specification. An end that is infinite is no limit.
struct Capability {
  double Pp = 0;          ///< NaN with one limit only
  double Ppk = 0;         ///< infinite without any limit, and its bounds with it
  double Ppk_lower = 0;   ///< one-sided bound of the nearer limit's index, noncentral t
  Interval Pp_interval;   ///< two-sided, chi-squared
  Interval Ppk_interval;  ///< two-sided, Bissell 1990
};
/// nullopt where the values have no spread. `confidence` inside (0, 1).
std::optional<Capability> capability_of(const Moments& moments, std::size_t n,
                                        const Interval& specification, double confidence);

}  // namespace pinproof::metrology
