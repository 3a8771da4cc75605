// Whether residuals are noise, and of what kind. Inside the waveform folder only.
#pragma once

#include <span>

namespace pinproof::waveform {

/// 99.9 % point of chi-squared (Wilson and Hilferty 1931).
double chi_squared_limit(double degrees_of_freedom);

/// Means of blocks of residuals scatter as sigma / sqrt(n) while they are white
/// noise; motion and saturation bend them. `floor` is a misfit that counts as none.
bool is_noise(std::span<const double> residual, double sigma, double floor);

/// How many times larger the variance of a mean of these is than were they
/// white: 1 + 2 sum of the autocorrelation up to its first zero (Geyer 1992 for
/// where to stop; lags below a tenth of the length). 1 where the lag-one
/// correlation is not significant at two standard deviations.
double correlation_time(std::span<const double> residual);

/// A sinusoid of the mains in the samples.
struct Hum {
  double hertz = 0;      ///< 50 or 60; 0 for none
  double amplitude = 0;  ///< of the samples' unit
};
/// Least-squares sine at 50 and 60 Hz in what no model explains; none where the
/// stretch is shorter than 0.6 of a period, or the sine takes less than half of
/// the low-frequency variance or fewer than five standard deviations.
Hum find_hum(std::span<const double> residual, double interval_s);

}  // namespace pinproof::waveform
