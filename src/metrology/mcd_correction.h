// Factors that make the covariance of the nearest rows one of all rows. Pure.
#pragma once

#include <optional>

namespace pinproof::metrology {

/// Consistency factor for p normal variables where the covariance is that of the share `kept`
/// (0 to 1) of nearest rows: kept / P(chi2(p + 2) <= chi2(p) quantile of kept); 1 for all rows
/// (Croux and Haesbroeck 1999).
double mcd_consistency(double p, double kept);

enum class McdStage { raw, reweighted };
/// Small-sample factor for n rows and h of about half of them (Pison, Van Aelst and Willems 2002).
/// nullopt where the formula, which has a pole below the n it was fitted for, gives nothing between
/// 0 and 5.
std::optional<double> mcd_small_sample(double p, double n, McdStage stage);

}  // namespace pinproof::metrology
