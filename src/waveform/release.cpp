#include "waveform/release.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <vector>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kSkip_s = 0.15e-3;  // the eddy path's jump at the edge
constexpr std::array kSmooths_s{0.1e-3, 0.2e-3, 0.4e-3, 0.6e-3};
constexpr double kLeastBump = 0.001;  // of the current before switch-off
constexpr double kNoiseBump = 7;      // standard deviations of the smoothed current
constexpr double kEarly = 0.03;  // of the release: a slow return's maximum comes before its end
constexpr double kDiode_V =
    3;  // above a diode's drop, below any zener (common practice, no source)
constexpr double kRateNoise = 16;  // least voltage over what its slope's noise makes of the rate
constexpr double kNoiseJump = 6;   // standard deviations of the rate
constexpr double kRateJump = 0.2;  // of the rate before: open gap against closed

double before_off(const Prepared& p) {
  const std::size_t n = std::min<std::size_t>(20, (p.off - p.on) / 4);
  return mean_of(std::span(p.current_A).subspan(p.off - n - 1, n));
}

// Index at which the current has fallen to `share` of what it was.
std::size_t decayed_to(const Prepared& p, double share) {
  const double level = share * before_off(p);
  const auto at = first_run(p.current_A, p.off, 3, [level](double i) { return i < level; });
  return at.value_or(p.size());
}

void find_clamp(const Prepared& p, const AnalysisOptions& options, Release& out) {
  if (!p.voltage_measured || p.decay_clipped) return;
  const std::size_t from = p.off + 1, to = std::max(decayed_to(p, 0.2), p.off + 3);
  std::vector<double> level;
  for (std::size_t k = from; k < std::min(to, p.size()); ++k) level.push_back(-p.voltage_V[k]);
  if (level.size() < 2) return;
  // A short decay has no plateau to take a median of.
  const double clamp =
      level.size() < 6 ? *std::max_element(level.begin(), level.end()) : upper_median_of(level);
  const double n = static_cast<double>(level.size());
  out.clamp_V = {clamp, std::hypot(p.voltage_offset_u, options.voltage_gain_u * clamp,
                                   1.25 * p.voltage_noise_V / std::sqrt(n))};
  if (clamp <= kDiode_V)
    out.suppression = SeenSuppression::diode;
  else
    out.suppression = clamp <= kUnclamped_V ? SeenSuppression::zener : SeenSuppression::none;
}

// Largest bump first in the finest smoothing that shows one.
std::optional<Estimate> by_current(const Prepared& p) {
  const std::size_t from = p.off + p.samples_in(kSkip_s, 2);
  if (from + 4 * p.samples_in(kSmooths_s.back(), 2) > p.size()) return std::nullopt;
  const double level = before_off(p);
  for (const double s : kSmooths_s) {
    const std::size_t half = p.samples_in(s, 2);
    auto mirrored = smooth(std::span(p.current_A).subspan(from), half);
    for (double& x : mirrored) x = -x;
    const double depth = std::max(kLeastBump * level, kNoiseBump * p.current_colour *
                                                          p.current_noise_A * smoothed_share(half));
    const auto bump = find_dip(mirrored, half, mirrored.size() - half, depth);
    if (!bump || -mirrored[bump->valley] < 3 * depth) continue;
    const auto after = std::span(p.current_A).subspan(from);
    const Vertex top = vertex_of(after, bump->valley, half, p.current_noise_A);
    const double blur = static_cast<double>(half);  // the maximum is lopsided
    const double at = p.seconds(static_cast<double>(from) + top.index, p.off_index);
    const double own = p.interval_s * std::hypot(0.4, blur, top.u);
    return Estimate{at, std::hypot(own, kEarly * at)};
  }
  return std::nullopt;
}

// Rate of decay -d ln|v| / dt a sample of the coil voltage from `from` + half on,
// as far as noise leaves it within a sixteenth, and its noise.
struct DecayRate {
  std::vector<double> rate, noise;
};

DecayRate decay_rate(const Prepared& p, std::size_t from, std::size_t half) {
  const auto tail = std::span(p.voltage_V).subspan(from);
  const auto volts = smooth(tail, half);
  const auto change = slope(tail, half);
  const double m = static_cast<double>(half);
  const double slope_noise = p.voltage_noise_V * std::sqrt(3 / (m * (m + 1) * (2 * m + 1)));
  DecayRate out;
  double least = 1e-3 * p.step_V;
  for (std::size_t k = half; k < volts.size() && -volts[k] > least; ++k) {
    out.rate.push_back(-change[k] / volts[k]);
    out.noise.push_back(slope_noise / -volts[k]);
    if (out.rate.size() == half)
      least = std::max(least, kRateNoise * slope_noise / upper_median_of(out.rate));
  }
  return out;
}

// The current is gone, the eddy path alone decays: v falls with Re / L, slowed
// by |L'| / L while the gap opens. The end of travel ends the slowing at once,
// so the rate jumps to that of the open gap.
std::optional<Estimate> by_voltage(const Prepared& p, double clamp_V) {
  // The clamp's plateau ends where the current does; its corner is no jump of the rate.
  const auto left =
      first_run(p.voltage_V, decayed_to(p, 0.02), 3, [&](double v) { return v > -0.85 * clamp_V; });
  if (!left) return std::nullopt;
  const std::size_t from = *left + 2;
  const std::size_t half = p.samples_in(0.15e-3, 3);
  if (!p.voltage_measured || p.decay_clipped || from + 8 * half > p.size()) return std::nullopt;
  const auto [rate, noise] = decay_rate(p, from, half);
  if (rate.size() < 5 * half) return std::nullopt;
  const auto rise = slope(rate, half);
  const auto reach = static_cast<std::ptrdiff_t>(half);
  const auto steepest = std::max_element(rise.begin() + reach, rise.end() - 2 * reach);
  const auto at = steepest - rise.begin();
  const auto here = rate.begin() + at;
  // Opening alone lets the rate grow too, but gently: at least half of the whole
  // growth must lie inside the smoother's reach.
  const double jump = *(here + reach) - *(here - reach);
  const double growth = *std::max_element(here, rate.end()) - *std::min_element(rate.begin(), here);
  const auto before = static_cast<std::size_t>(at - reach),
             after = static_cast<std::size_t>(at + reach);
  const double least = std::max({kRateJump * rate[before], 0.5 * growth,
                                 kNoiseJump * std::hypot(noise[before], noise[after])});
  // And it must be over: while the rate still climbs at the edge of sight, the
  // end of travel may lie beyond.
  const double after_end = *std::max_element(here + reach, rate.end()) - rate[after];
  if (jump < least || after_end > 0.25 * jump) return std::nullopt;
  const double index = static_cast<double>(from + half) + static_cast<double>(at);
  return Estimate{p.seconds(index, p.off_index), static_cast<double>(half) * p.interval_s / 2};
}

}  // namespace

Release find_release(const Prepared& p, const AnalysisOptions& options) {
  Release out;
  if (p.size() < p.off + 20) {
    out.reason = "the capture ends before the coil is off for long enough";
    return out;
  }
  find_clamp(p, options, out);
  if (const auto seen = by_current(p)) {
    out.release_s = *seen;
    out.reason = "the decaying current has a maximum where the plunger's return ends";
  } else if (const auto kink = out.suppression == SeenSuppression::diode
                                   ? std::nullopt
                                   : by_voltage(p, out.clamp_V.value)) {
    out.release_s = *kink;
    out.reason = "the coil voltage's decay quickens where the plunger's return ends";
  } else {
    out.reason = "no mark of the returning plunger in the decay";
  }
  return out;
}

}  // namespace pinproof::waveform
