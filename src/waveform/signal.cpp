#include "waveform/signal.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace pinproof::waveform {
namespace {

// Weights of the quadratic Savitzky-Golay smoother over 2 m + 1 samples.
std::vector<double> smoothing_weights(std::size_t m) {
  std::vector<double> h;
  const double d = static_cast<double>(m);
  const double scale = 3 / ((2 * d - 1) * (2 * d + 1) * (2 * d + 3));
  for (std::size_t k = 0; k <= 2 * m; ++k) {
    const double j = static_cast<double>(k) - d;
    h.push_back(scale * (3 * d * d + 3 * d - 1 - 5 * j * j));
  }
  return h;
}

std::size_t room(std::size_t index, std::size_t size, std::size_t half) {
  return std::min({half, index, size - 1 - index});
}

}  // namespace

double deviation(std::span<const double> x) {
  if (x.size() < 2) return 0;
  const double m = mean_of(x);
  double sum = 0;
  for (const double v : x) sum += (v - m) * (v - m);
  return std::sqrt(sum / static_cast<double>(x.size() - 1));
}

double noise_of(std::span<const double> x) {
  if (x.size() < 8) return 0;
  std::vector<double> d;
  d.reserve(x.size());
  for (std::size_t i = 1; i + 1 < x.size(); ++i)
    d.push_back(std::abs(x[i + 1] - 2 * x[i] + x[i - 1]));
  const double white = 1.4826 * upper_median_of(std::move(d)) / std::sqrt(6.0);
  const auto [low, high] = std::minmax_element(x.begin(), x.end());
  const double quantum = quantum_of(x);
  // An ideal step has no small differences; that makes it no coarse digitiser.
  return quantum > 0.02 * (*high - *low) ? white : std::max(white, quantum / std::sqrt(12.0));
}

double quantum_of(std::span<const double> x) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < x.size(); ++i)
    if (x[i] != x[i - 1]) least = std::min(least, std::abs(x[i] - x[i - 1]));
  return std::isfinite(least) ? least : 0;
}

double smoothed_share(std::size_t half) {
  // The middle weight of the quadratic smoother is also its noise variance.
  const double m = static_cast<double>(half);
  if (half < 2) return 1;
  return std::sqrt(3 * (3 * m * m + 3 * m - 1) / ((2 * m - 1) * (2 * m + 1) * (2 * m + 3)));
}

std::vector<double> without_spikes(std::span<const double> x) {
  std::vector<double> out(x.begin(), x.end());
  for (std::size_t i = 1; i + 1 < x.size(); ++i)
    out[i] = std::max(std::min(x[i - 1], x[i]), std::min(std::max(x[i - 1], x[i]), x[i + 1]));
  return out;
}

namespace {

constexpr std::size_t kWide = 48;       // from here on sums are carried from window to window
constexpr std::size_t kRefresh = 2048;  // windows, before rounding is swept out

// Sums of y, j y and j^2 y over j = -m .. m around a centre that only moves on.
class WindowSums {
 public:
  explicit WindowSums(std::span<const double> x) : x_(x) {}

  double s0 = 0, s1 = 0, s2 = 0;

  void move_to(std::size_t centre, std::size_t m) {
    if (moved_++ % kRefresh == 0 || centre != centre_ + 1) {
      start(centre, m);
      return;
    }
    centre_ = centre;
    s2 += s0 - 2 * s1, s1 -= s0;
    while (to_ < centre + m + 1) take(to_++, 1);
    while (from_ < centre - m) take(from_++, -1);
  }

 private:
  void take(std::size_t k, double sign) {
    const double j = static_cast<double>(k) - static_cast<double>(centre_), y = sign * x_[k];
    s0 += y, s1 += j * y, s2 += j * j * y;
  }
  void start(std::size_t centre, std::size_t m) {
    centre_ = centre, from_ = centre - m, to_ = centre + m + 1;
    s0 = s1 = s2 = 0;
    for (std::size_t k = from_; k < to_; ++k) take(k, 1);
  }

  std::span<const double> x_;
  std::size_t centre_ = 0, from_ = 0, to_ = 0, moved_ = 0;
};

// The same as the weights do, for windows too wide to be weighed one by one.
std::vector<double> smooth_wide(std::span<const double> x, std::size_t half) {
  std::vector<double> out(x.begin(), x.end());
  WindowSums sums(x);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const std::size_t m = room(i, x.size(), half);
    if (m < 2) continue;
    sums.move_to(i, m);
    const double d = static_cast<double>(m), n = 2 * d + 1;
    const double s2 = d * (d + 1) * n / 3, s4 = s2 * (3 * d * d + 3 * d - 1) / 5;
    out[i] = (s4 * sums.s0 - s2 * sums.s2) / (n * s4 - s2 * s2);
  }
  return out;
}

std::vector<double> slope_wide(std::span<const double> x, std::size_t half) {
  std::vector<double> out(x.size(), 0.0);
  WindowSums sums(x);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const std::size_t m = room(i, x.size(), half);
    if (m == 0) continue;
    sums.move_to(i, m);
    const double d = static_cast<double>(m);
    out[i] = 3 * sums.s1 / (d * (d + 1) * (2 * d + 1));
  }
  return out;
}

}  // namespace

std::vector<double> smooth(std::span<const double> x, std::size_t half) {
  if (half >= kWide) return smooth_wide(x, half);
  std::vector<double> out(x.begin(), x.end());
  std::vector<std::vector<double>> weights(half + 1);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const std::size_t m = room(i, x.size(), half);
    if (m < 2) continue;
    if (weights[m].empty()) weights[m] = smoothing_weights(m);
    out[i] = std::inner_product(weights[m].begin(), weights[m].end(),
                                x.begin() + static_cast<std::ptrdiff_t>(i - m), 0.0);
  }
  return out;
}

std::vector<double> slope(std::span<const double> x, std::size_t half) {
  if (half >= kWide) return slope_wide(x, half);
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

namespace {

// y = p + q j + r j^2 by least squares over j = -m .. m around `index`.
struct Parabola {
  double p = 0, q = 0, r = 0, s2 = 0;
};

Parabola parabola_at(std::span<const double> x, std::size_t index, std::size_t m) {
  double s2 = 0, s4 = 0, sy = 0, sjy = 0, sj2y = 0;
  const double n = static_cast<double>(2 * m + 1);
  for (std::size_t k = 0; k <= 2 * m; ++k) {
    const double j = static_cast<double>(k) - static_cast<double>(m);
    const double y = x[index - m + k];
    s2 += j * j, s4 += j * j * j * j, sy += y, sjy += j * y, sj2y += j * j * y;
  }
  const double r = (n * sj2y - s2 * sy) / (n * s4 - s2 * s2);
  return {(sy - r * s2) / n, sjy / s2, r, s2};
}

}  // namespace

Vertex vertex_of(std::span<const double> x, std::size_t index, std::size_t half, double noise) {
  Vertex out{static_cast<double>(index), x[index], static_cast<double>(half)};
  std::size_t centre = index;
  for (int pass = 0; pass < 3; ++pass) {
    const std::size_t m = room(centre, x.size(), half);
    if (m < 2) return out;
    const Parabola f = parabola_at(x, centre, m);
    const double offset = -f.q / (2 * f.r);
    const double at = static_cast<double>(centre) + offset;
    if (!(std::abs(at - static_cast<double>(index)) <= static_cast<double>(half))) return out;
    out = {at, f.p + offset * f.q / 2, noise / std::sqrt(f.s2) / std::abs(2 * f.r)};
    centre = static_cast<std::size_t>(std::lround(at));
  }
  return out;
}

std::optional<double> rises_through(std::span<const double> x, double level, std::size_t from) {
  for (std::size_t i = std::max<std::size_t>(from, 1); i < x.size(); ++i)
    if (x[i - 1] < level && x[i] >= level)
      return static_cast<double>(i - 1) + (level - x[i - 1]) / (x[i] - x[i - 1]);
  return std::nullopt;
}

std::optional<double> falls_through(std::span<const double> x, double level, std::size_t from) {
  for (std::size_t i = std::max<std::size_t>(from, 1); i < x.size(); ++i)
    if (x[i - 1] > level && x[i] <= level)
      return static_cast<double>(i - 1) + (x[i - 1] - level) / (x[i - 1] - x[i]);
  return std::nullopt;
}

std::optional<Dip> find_dip(std::span<const double> x, std::size_t from, std::size_t to,
                            double depth) {
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
