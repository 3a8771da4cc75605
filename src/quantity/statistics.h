// The middle, the spread and the order of a few numbers. Pure; no locale, no unit.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace pinproof {

/// Arithmetic mean. Pre: one value or more.
double mean_of(std::span<const double> values);

/// Mean and standard deviation (n - 1), in two passes: one pass over squares loses all digits where
/// the mean is large (NIST StRD NumAcc4).
struct Moments {
  double mean = 0, sd = 0;
};
/// Throws std::domain_error where there are fewer than two values.
Moments moments_of(std::span<const double> values);

/// The value that would stand at this place in rising order, counted from 0, by partial sorting:
/// none greater stands in front of it afterwards. Pre: rank < values.size().
double value_at_rank(std::span<double> values, std::size_t rank);

/// The value in the middle; of an even count the mean of both. Pre: one value or more.
double median_of(std::vector<double> values);
/// The same without a copy: `values` come out in another order.
double median_in_place(std::span<double> values);

/// The value in the middle; of an even count the greater of both, so that it is one that was seen
/// (a digitiser's step, a count). Pre: one value or more.
double upper_median_of(std::vector<double> values);

/// Share p (0 to 1) of the values lies below: by linear interpolation between order statistics,
/// rank 1 + p (n - 1) (type 7 of Hyndman and Fan 1996). Throws std::domain_error where there are no
/// values.
double quantile_of(std::span<const double> values, double p);
/// The same of values that rise already. Pre: one value or more.
double quantile_of_sorted(std::span<const double> rising, double p);

/// A copy in rising order. Throws std::domain_error where there are no values.
std::vector<double> sorted_of(std::span<const double> values);

}  // namespace pinproof
