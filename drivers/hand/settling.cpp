#include "hand/settling.h"

#include <algorithm>
#include <cmath>

#include "quantity/statistics.h"

namespace pinproof::hand {
namespace {

// Three that lie together by chance come once in a thousand windows of hum that is thirty bands
// wide, five once in a million: and a bad touch has many windows.
constexpr std::size_t kLeastSamples = 5;
constexpr double kRelative = 0.003, kRelativeHigh = 0.01, kHigh_ohm = 1e5, kAbsolute_ohm = 0.02;
constexpr double kOfRange = 20e-6;
constexpr double kPlausibleLow = 0.6, kPlausibleHigh = 1.6, kPlausible_ohm = 1.0;
constexpr double kContact_ohm = 10;

}  // namespace

bool plausible(double ohm, double expected_ohm) {
  if (!std::isfinite(expected_ohm)) return false;
  // A contact may be much better than its limit, which is what is expected of it.
  const double low = expected_ohm < kContact_ohm ? 0 : kPlausibleLow * expected_ohm;
  return ohm >= low - kPlausible_ohm && ohm <= kPlausibleHigh * expected_ohm + kPlausible_ohm;
}

double Settling::band(double ohm, double range_ohm) {
  const double relative = std::abs(ohm) > kHigh_ohm ? kRelativeHigh : kRelative;
  return std::max({relative * std::abs(ohm), kOfRange * range_ohm, kAbsolute_ohm});
}

void Settling::add(double at_s, double ohm, double range_ohm) {
  samples_.push_back({at_s, ohm});
  // Keep the longest tail that lies in one band.
  double low = ohm, high = ohm;
  std::size_t keep = 0;
  for (auto it = samples_.rbegin(); it != samples_.rend(); ++it, ++keep) {
    const double l = std::min(low, it->ohm), h = std::max(high, it->ohm);
    if (h - l > 2 * band((h + l) / 2, range_ohm)) break;
    low = l, high = h;
  }
  samples_.erase(samples_.begin(), samples_.end() - static_cast<std::ptrdiff_t>(keep));
  settled_ = samples_.size() >= kLeastSamples && at_s - samples_.front().at_s >= dwell_s_;
  while (samples_.size() > kLeastSamples && at_s - samples_[1].at_s >= dwell_s_)
    samples_.pop_front();
}

std::vector<double> Settling::samples() const {
  std::vector<double> out;
  for (const Sample& s : samples_) out.push_back(s.ohm);
  return out;
}

double Settling::mean() const { return mean_of(samples()); }

}  // namespace pinproof::hand
