// Sums of decaying exponentials on a uniform grid,
//   y_t = c_0 + sum_j c_j exp(-k_j t interval),  t = 0 .. n - 1,
// by variable projection (Golub and Pereyra 1973, Kaufman's form 1975): the c
// are solved for, only the rates are searched. Products of exponentials over
// the grid are geometric sums in closed form, and the data enter through
// E(k) = sum z^t y_t and D(k) = sum t z^t y_t alone, so one pass over the
// samples gathers all that the search needs (see block_moments.h).
#pragma once

#include <array>
#include <cstddef>
#include <span>

#include "waveform/fit_status.h"

namespace pinproof::waveform {

inline constexpr std::size_t kMostExponentials = 3;

struct ExponentialFit {
  FitStatus status = FitStatus::too_few_samples;
  std::size_t terms = 0;
  std::array<double, kMostExponentials> rate{};          ///< 1/s, slowest first
  std::array<double, kMostExponentials> rate_sd{};       ///< white noise assumed
  std::array<double, kMostExponentials> amplitude{};     ///< unit of y, in the order of rate
  std::array<double, kMostExponentials> amplitude_sd{};  ///< the same
  double constant = 0;                                   ///< c_0; 0 where none was asked for
  double constant_sd = 0;
  double rss = 0;    ///< sum of squared residuals
  double sigma = 0;  ///< residual standard deviation over the degrees of freedom left
  int iterations = 0;

  double at(double s) const;  ///< the fitted sum at time s after the first sample
};

/// `terms` 1 .. 3, `interval_s` > 0. Rates between 0.02 over the whole length
/// and 2 an interval are searched; no_minimum where the best lies outside, two
/// rates fall together, or the amplitudes cannot be told apart. Needs
/// 2 terms + 3 samples.
ExponentialFit fit_exponentials(std::span<const double> y, double interval_s, std::size_t terms,
                                bool with_constant = true);

/// The number of exponentials, 0 .. `most`, that the samples give evidence for:
/// another one must lower n ln(rss) by more than the Bayesian criterion's
/// 2 ln n (Schwarz 1978) and by ten. White noise assumed.
std::size_t exponentials_in_evidence(std::span<const double> y, double interval_s,
                                     std::size_t most = 2);

}  // namespace pinproof::waveform
