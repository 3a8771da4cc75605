#include "waveform/residuals.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kMains_Hz[] = {50, 60};
constexpr double kLeastPeriods = 0.6;
constexpr double kHumNoise = 5;  // standard deviations of the amplitude

double autocovariance(std::span<const double> x, double middle, std::size_t lag) {
  double sum = 0;
  for (std::size_t k = 0; k + lag < x.size(); ++k) sum += (x[k] - middle) * (x[k + lag] - middle);
  return sum / static_cast<double>(x.size());
}

struct Sine {
  double amplitude = 0, rss = 0;
  double correlation = 1;  // time of what is left
};

// Least squares of a constant, a cosine and a sine, by their 3 x 3 normal
// equations around the middle, where the three are nearly orthogonal.
Sine sine_at(std::span<const double> x, double angle) {
  const double middle = (static_cast<double>(x.size()) - 1) / 2;
  std::array<std::array<double, 4>, 3> a{};
  for (std::size_t k = 0; k < x.size(); ++k) {
    const double phase = angle * (static_cast<double>(k) - middle);
    const std::array<double, 3> row{1, std::cos(phase), std::sin(phase)};
    for (std::size_t i = 0; i < 3; ++i) {
      for (std::size_t j = 0; j < 3; ++j) a[i][j] += row[i] * row[j];
      a[i][3] += row[i] * x[k];
    }
  }
  for (std::size_t i = 0; i < 3; ++i)
    for (std::size_t r = 0; r < 3; ++r) {
      if (r == i || a[i][i] == 0) continue;
      const double share = a[r][i] / a[i][i];
      for (std::size_t j = i; j < 4; ++j) a[r][j] -= share * a[i][j];
    }
  std::array<double, 3> c{};
  for (std::size_t i = 0; i < 3; ++i) c[i] = a[i][i] != 0 ? a[i][3] / a[i][i] : 0;
  Sine out{std::hypot(c[1], c[2]), 0, 1};
  std::vector<double> rest(x.size());
  for (std::size_t k = 0; k < x.size(); ++k) {
    const double phase = angle * (static_cast<double>(k) - middle);
    rest[k] = x[k] - c[0] - c[1] * std::cos(phase) - c[2] * std::sin(phase);
    out.rss += rest[k] * rest[k];
  }
  out.correlation = correlation_time(rest);
  return out;
}

}  // namespace

double chi_squared_limit(double dof) {
  const double s = 2 / (9 * dof);
  return dof * std::pow(1 - s + 3.090 * std::sqrt(s), 3);
}

bool is_noise(std::span<const double> residual, double sigma, double floor) {
  const std::size_t blocks = std::min<std::size_t>(10, residual.size() / 4);
  const std::size_t n = residual.size() / blocks;
  const double variance = sigma * sigma / static_cast<double>(n) + floor * floor;
  double sum = 0;
  for (std::size_t b = 0; b < blocks; ++b) {
    const double m = mean_of(residual.subspan(b * n, n));
    sum += m * m / variance;
  }
  return sum < chi_squared_limit(std::max(1.0, static_cast<double>(blocks) - 2));
}

double correlation_time(std::span<const double> residual) {
  if (residual.size() < 20) return 1;
  const double middle = mean_of(residual);
  const double variance = autocovariance(residual, middle, 0);
  if (!(variance > 0)) return 1;
  const double n = static_cast<double>(residual.size());
  double out = 1;
  for (std::size_t lag = 1; lag < residual.size() / 10; ++lag) {
    const double r = autocovariance(residual, middle, lag) / variance;
    if (lag == 1 && r < 2 / std::sqrt(n)) return 1;
    if (r <= 0) break;
    out += 2 * r;
  }
  return out;
}

Hum find_hum(std::span<const double> residual, double interval_s) {
  Hum out;
  const double length_s = static_cast<double>(residual.size()) * interval_s;
  if (residual.size() < 20) return out;
  const double middle = mean_of(residual);
  const double whole = autocovariance(residual, middle, 0) * static_cast<double>(residual.size());
  double best = whole;
  for (const double hertz : kMains_Hz) {
    if (length_s * hertz < kLeastPeriods) continue;
    const Sine s = sine_at(residual, 2 * M_PI * hertz * interval_s);
    const double sigma = std::sqrt(s.rss / static_cast<double>(residual.size() - 3));
    const double u = sigma * std::sqrt(2 / static_cast<double>(residual.size()) * s.correlation);
    if (s.rss < best && s.amplitude > kHumNoise * u) {
      best = s.rss;
      out = {hertz, s.amplitude};
    }
  }
  return out;
}

}  // namespace pinproof::waveform
