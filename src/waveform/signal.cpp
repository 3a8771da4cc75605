#include "waveform/signal.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace pinproof::waveform {
namespace {

// Weights of the quadratic Savitzky-Golay smoother over 2 m + 1 samples.
std::vector<double> smoothing_weights(std::size_t m) {
  std::vector<double> h;
  const double d = static_cast<double>(m);
  const double scale = 3 / ((2 * d - 1) * (2 * d + 1) * (2 * d + 3));
  for (double j = -d; j <= d; ++j) h.push_back(scale * (3 * d * d + 3 * d - 1 - 5 * j * j));
  return h;
}

std::size_t room(std::size_t index, std::size_t size, std::size_t half) { return std::min({half, index, size - 1 - index}); }

}  // namespace

double mean(std::span<const double> x) { return std::accumulate(x.begin(), x.end(), 0.0) / static_cast<double>(x.size()); }

double deviation(std::span<const double> x) {
  if (x.size() < 2) return 0;
  const double m = mean(x);
  double sum = 0;
  for (const double v : x) sum += (v - m) * (v - m);
  return std::sqrt(sum / static_cast<double>(x.size() - 1));
}

double median(std::vector<double> x) {
  const auto middle = x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2);
  std::nth_element(x.begin(), middle, x.end());
  return *middle;
}

double noise_of(std::span<const double> x) {
  if (x.size() < 8) return 0;
  std::vector<double> d;
  d.reserve(x.size());
  for (std::size_t i = 1; i + 1 < x.size(); ++i) d.push_back(std::abs(x[i + 1] - 2 * x[i] + x[i - 1]));
  return 1.4826 * median(std::move(d)) / std::sqrt(6.0);
}

std::vector<double> smooth(std::span<const double> x, std::size_t half) {
  std::vector<double> out(x.begin(), x.end());
  std::vector<std::vector<double>> weights(half + 1);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const std::size_t m = room(i, x.size(), half);
    if (m < 2) continue;
    if (weights[m].empty()) weights[m] = smoothing_weights(m);
    out[i] = std::inner_product(weights[m].begin(), weights[m].end(), x.begin() + static_cast<std::ptrdiff_t>(i - m), 0.0);
  }
  return out;
}

std::vector<double> slope(std::span<const double> x, std::size_t half) {
  std::vector<double> out(x.size(), 0.0);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const std::size_t m = room(i, x.size(), half);
    if (m == 0) continue;
    const double d = static_cast<double>(m);
    double sum = 0;
    for (std::size_t j = 1; j <= m; ++j) sum += static_cast<double>(j) * (x[i + j] - x[i - j]);
    out[i] = 3 * sum / (d * (d + 1) * (2 * d + 1));
  }
  return out;
}

double vertex(std::span<const double> x, std::size_t index, std::size_t half) {
  const std::size_t m = room(index, x.size(), half);
  const double at = static_cast<double>(index);
  if (m < 1) return at;
  // Parabola y = p + q j + r j^2 by least squares over j = -m .. m.
  double s2 = 0, s4 = 0, sy = 0, sjy = 0, sj2y = 0;
  const double n = static_cast<double>(2 * m + 1);
  for (std::ptrdiff_t j = -static_cast<std::ptrdiff_t>(m); j <= static_cast<std::ptrdiff_t>(m); ++j) {
    const double jj = static_cast<double>(j);
    const double y = x[static_cast<std::size_t>(static_cast<std::ptrdiff_t>(index) + j)];
    s2 += jj * jj, s4 += jj * jj * jj * jj, sy += y, sjy += jj * y, sj2y += jj * jj * y;
  }
  const double q = sjy / s2;
  const double r = (n * sj2y - s2 * sy) / (n * s4 - s2 * s2);
  const double offset = -q / (2 * r);
  return std::abs(offset) <= static_cast<double>(m) ? at + offset : at;
}

std::optional<double> rises_through(std::span<const double> x, double level, std::size_t from) {
  for (std::size_t i = std::max<std::size_t>(from, 1); i < x.size(); ++i)
    if (x[i - 1] < level && x[i] >= level) return static_cast<double>(i - 1) + (level - x[i - 1]) / (x[i] - x[i - 1]);
  return std::nullopt;
}

std::optional<double> falls_through(std::span<const double> x, double level, std::size_t from) {
  for (std::size_t i = std::max<std::size_t>(from, 1); i < x.size(); ++i)
    if (x[i - 1] > level && x[i] <= level) return static_cast<double>(i - 1) + (x[i - 1] - level) / (x[i - 1] - x[i]);
  return std::nullopt;
}

std::optional<Dip> find_dip(std::span<const double> x, std::size_t from, std::size_t to, double depth) {
  std::size_t peak = from, valley = from;
  bool fallen = false;
  for (std::size_t i = from; i < std::min(to, x.size()); ++i) {
    if (!fallen) {
      if (x[i] > x[peak]) peak = i;
      if (x[peak] - x[i] >= depth) fallen = true, valley = i;
    } else {
      if (x[i] < x[valley]) valley = i;
      if (x[i] - x[valley] >= depth) return Dip{peak, valley};
    }
  }
  return std::nullopt;
}

}  // namespace pinproof::waveform
