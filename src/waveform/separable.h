// Separable least squares: y = sum_j c_j phi_j(k), linear in c, one nonlinear
// parameter k > 0. Variable projection (Golub and Pereyra 1973) in Kaufman's
// simplified form (1975): for each k the c_j are solved by QR, only k is searched.
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "waveform/fit_status.h"

namespace pinproof::waveform {

/// Fills the basis at k, column by column: value[j * n + i] is phi_j at sample
/// i, by_k[j * n + i] its derivative by k. Both spans hold n * columns numbers.
using Basis = std::function<void(double k, std::span<double> value, std::span<double> by_k)>;

struct SeparableFit {
  FitStatus status = FitStatus::too_few_samples;
  double k = 0;
  std::vector<double> c;
  double rss = 0;                  ///< sum of squared residuals
  double sigma = 0;                ///< residual standard deviation, n - (m + 1) degrees of freedom
  std::vector<double> sd;          ///< standard deviations: c_0 .. c_(m-1), then k
  std::vector<double> covariance;  ///< row by row, (m + 1)^2, same order; white noise assumed
  std::vector<double> residual;    ///< y minus model, one a sample
};

/// Searches the minimum of rss(k) downhill from `k_start` by factors of two, at
/// most 2^40 away, then refines it until k stands still. Needs at least
/// columns + 2 samples; no_minimum when the sum of squares falls without end,
/// cannot be computed, or does not tell the rate from the amplitudes.
SeparableFit fit_separable(std::span<const double> y, std::size_t columns, const Basis& basis,
                           double k_start);

}  // namespace pinproof::waveform
