#include "waveform/settled.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kSlowest = 0.8;      // ratio of steps between thirds: beyond, no limit can be told
constexpr double kDrift = 0.02;       // a slow change smaller than this is warming or sag
constexpr double kTailShare_u = 0.4;  // of the extrapolated rest: saturation bends the exponential
constexpr double kWidest = 0.05;      // of the conductance: beyond, it is not known
constexpr double kEarlyShare = 0.4;   // of the limit, reached well before any plunger moves
constexpr double kEarlyTimes = 10;    // the pulse must be that many times longer than the way there
constexpr double kGivesWay = 0.05;    // of the step: more than the source's resistance explains

struct Thirds {
  std::array<double, 3> conductance{};  // mean i / mean v
  double noise_u = 0;                   // of one of them
  double current = 0, voltage = 0;      // of the last
};

Thirds thirds_of(const Prepared& p, std::size_t from, std::size_t to) {
  Thirds out;
  const std::size_t n = (to - from) / 3;
  for (std::size_t j = 0; j < 3; ++j) {
    out.current = mean_of(std::span(p.current_A).subspan(from + j * n, n));
    out.voltage = mean_of(std::span(p.voltage_V).subspan(from + j * n, n));
    out.conductance[j] = out.current / out.voltage;
  }
  const double root = std::sqrt(static_cast<double>(n));
  out.noise_u = std::abs(out.conductance[2]) *
                std::hypot(p.current_colour * p.current_noise_A / root / out.current,
                           p.voltage_colour * p.voltage_noise_V / root / out.voltage);
  return out;
}

// Aitken: what steps first, second leave to go, if each shrinks by the same ratio.
// The rest hangs on differences of means, so noise counts more, the slower it is.
Estimate extrapolated(const Thirds& t) {
  const auto& g = t.conductance;
  const double ratio = (g[2] - g[1]) / (g[1] - g[0]);
  const double gain = ratio / (1 - ratio);
  const double rest = (g[2] - g[1]) * gain;
  const double by_second = 2 * gain + gain * gain, by_first = -gain * gain;
  const double noise = t.noise_u * std::hypot(1 + by_second, by_second - by_first, by_first);
  return {g[2] + rest, std::hypot(noise, kTailShare_u * rest)};
}

bool approaches(const Thirds& t) {
  const double first = t.conductance[1] - t.conductance[0];
  const double second = t.conductance[2] - t.conductance[1];
  return first > 0 && second >= 0 && second <= kSlowest * first;
}

// Limit of the conductance and its uncertainty; a negative uncertainty says
// that the approach is too slow.
Estimate limit_of(const Thirds& t) {
  const auto& g = t.conductance;
  const double change = std::abs(g[2] - g[0]);
  if (change < 4 * t.noise_u || change < 1e-4 * g[2])
    return {(g[1] + g[2]) / 2, std::hypot(t.noise_u, change / 4)};
  if (approaches(t)) {
    const Estimate e = extrapolated(t);
    return e.u < kWidest * e.value ? e : Estimate{g[2], -1};
  }
  if (change < kDrift * g[2]) return {g[2], std::hypot(t.noise_u, change / std::sqrt(3.0))};
  return {g[2], -1};
}

// A plunger on its way slows the rise and looks like the end of it. A pulse that
// is long against the first part of the rise has left that behind.
bool long_enough(const Prepared& p, double conductance) {
  for (std::size_t k = p.on; k < p.off; ++k)
    if (p.current_A[k] >= kEarlyShare * conductance * p.voltage_V[k] &&
        p.voltage_V[k] > 0.5 * p.step_V)
      return static_cast<double>(p.off - p.on) >= kEarlyTimes * static_cast<double>(k - p.on);
  return false;
}

// The source's own resistance lets the voltage sag in proportion to the current.
// A current limit takes more, and only once the limit is reached: compare the
// late voltage with the line through the early samples.
bool gave_way(const Prepared& p, const SettledCurrent& s) {
  if (!p.voltage_measured) return false;
  double n = 0, si = 0, sv = 0, sii = 0, siv = 0;
  for (std::size_t k = p.on + 1; k < s.from; ++k) {
    const double i = p.current_A[k], v = p.voltage_V[k];
    if (i > 0.7 * s.current_A) break;
    n += 1, si += i, sv += v, sii += i * i, siv += i * v;
  }
  const double floor = std::max(kGivesWay * p.step_V, 5 * p.voltage_noise_V);
  if (n < 5) return s.voltage_V < p.step_V - std::max(floor, 0.5 * p.step_V);
  const double spread = sii - si * si / n;
  const double slope = spread > 0 ? std::min(0.0, (siv - si * sv / n) / spread) : 0;
  const double expected = sv / n + slope * (s.current_A - si / n);
  return s.voltage_V < expected - floor;
}

bool at_limit(const SettledCurrent& s, const AnalysisOptions& options) {
  return options.limit_A > 0 && s.current_A > 0.97 * options.limit_A;
}

}  // namespace

SettledCurrent settle(const Prepared& p, const AnalysisOptions& options) {
  SettledCurrent out;
  const std::size_t length = p.off - p.on;
  const std::size_t edge = std::max<std::size_t>(2, length / 100);
  const std::size_t from = p.on + length / 2, to = p.off - edge;
  const Thirds t = thirds_of(p, from, to);
  const std::size_t third = (to - from) / 3;
  const double i_noise = p.current_noise_A / std::sqrt(static_cast<double>(third));
  const double floor = std::max({1e-3, 10 * i_noise, 3 * p.current_offset_u});
  if (t.current < -floor)
    out.status = Status::wrong_polarity;
  else if (!(t.current > floor) || !(t.voltage > 0))
    out.status = Status::no_current;
  if (out.status != Status::ok) return out;
  const Estimate g = limit_of(t);
  if (g.u < 0 || !long_enough(p, g.value)) {
    out.status = Status::too_short;
    out.resistance_ohm = t.voltage / t.current;  // an upper bound
    out.current_A = t.current;                   // and a lower one
    return out;
  }
  const double zero = std::hypot(p.current_offset_u / t.current, p.voltage_offset_u / t.voltage);
  out.resistance_ohm = 1 / g.value;
  out.noise_u = std::hypot(g.u / g.value, zero) * out.resistance_ohm;
  out.voltage_V = t.voltage;
  out.current_A = t.voltage * g.value;
  out.current_u = out.current_A * std::hypot(g.u / g.value, p.current_offset_u / t.current);
  out.from = from + 2 * ((to - from) / 3);
  out.current_limited = gave_way(p, out) || at_limit(out, options);
  return out;
}

}  // namespace pinproof::waveform
