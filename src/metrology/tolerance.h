// Limits learned from known-good parts: factors by which mean and standard deviation of a few parts
// cover a share of all, with a stated confidence. Pure.
#pragma once

#include <cstddef>

namespace pinproof::metrology {

/// k for mean +- k s of n normal parts (n >= 2) to cover at least `coverage` of all parts with
/// `confidence`, both inside (0, 1). Exact: the confidence is integrated over the sample mean
/// (Odeh 1978); Howe's formula lies 0.3 % below it at n of 10 to 30, so it is not used.
/// Throws std::domain_error outside those ranges.
double two_sided_factor(std::size_t n, double coverage, double confidence);
/// The same for one limit, mean + k s: a quantile of the noncentral t distribution.
double one_sided_factor(std::size_t n, double coverage, double confidence);

/// Smallest n for which least and greatest of n parts, `dropped` extreme ones left out, cover
/// `coverage` with `confidence`, whatever the distribution (Wilks 1941). Two-sided: a limit at each
/// end; else one.
std::size_t wilks_n(double coverage, double confidence, std::size_t dropped, bool two_sided);
/// Share of all parts that least to greatest of n parts (n >= 2) cover with `confidence`.
double min_max_coverage(std::size_t n, double confidence);
/// Confidence that least to greatest of n parts cover `coverage`.
double min_max_confidence(std::size_t n, double coverage);

}  // namespace pinproof::metrology
