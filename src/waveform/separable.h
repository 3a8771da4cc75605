// Separable least squares: y = sum_j c_j phi_j(t; k), linear in c, one
// nonlinear parameter k > 0 (Golub and Pereyra 1973: variable projection). For
// each k the c_j are solved by QR, so only k is searched.
#pragma once

#include <functional>
#include <span>
#include <vector>

namespace pinproof::waveform {

/// One basis function: its value and its derivative by k at time t.
struct BasisFunction {
  std::function<double(double t, double k)> value;
  std::function<double(double t, double k)> by_k;
};

struct SeparableFit {
  enum class Status { ok, too_few_samples, no_minimum };
  Status status = Status::too_few_samples;
  double k = 0;
  std::vector<double> c;
  double rss = 0;                  ///< sum of squared residuals
  double sigma = 0;                ///< residual standard deviation, n - (m + 1) degrees of freedom
  std::vector<double> sd;          ///< standard deviations: c_0 .. c_(m-1), then k
  std::vector<double> covariance;  ///< row by row, (m + 1)^2, same order
};

/// Searches the minimum of rss(k) outward from `k_start` by factors of two up
/// to 2^40 either way, then refines it. Needs more samples than parameters + 1.
SeparableFit fit_separable(std::span<const double> t, std::span<const double> y,
                           const std::vector<BasisFunction>& basis, double k_start);

}  // namespace pinproof::waveform
