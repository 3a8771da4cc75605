#include "waveform/plunger.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr std::array kSmooths_s{0.1e-3, 0.2e-3, 0.4e-3};  // finest first
constexpr double kSkip_s = 0.1e-3;                        // ringing at the edge
constexpr double kPeakReach_s = 0.3e-3;                   // of the parabola through the peak
constexpr double kBlur = 0.2;         // of a parabola's reach: a vertex is not a parabola
constexpr double kLeastDip = 0.003;   // of the final current
constexpr double kNoiseDip = 8;       // standard deviations of the smoothed current
constexpr double kBelowFinal = 0.01;  // a valley stays this far below the final current
constexpr double kDriving = 0.01;     // least mean of v - R i over the dip, of the step
constexpr double kEnoughFlux = 0.3;   // of the final current: least that growth is judged at
constexpr double kGrew = 0.12;        // growth beyond this, and 3 u: the plunger moved
constexpr double kRested = 0.06;      // growth below this, or 2 u: it did not

std::optional<SeatingDip> dip_at(const Prepared& p, const SettledCurrent& s, std::size_t half) {
  const auto current = smooth(p.on_current(), half);
  const double sigma = p.current_noise_A * p.current_colour * smoothed_share(half);
  const double depth = std::max(kLeastDip * s.current_A, kNoiseDip * sigma);
  // The smoother has its full width only that far from the ends.
  const std::size_t skip = std::max(half, p.samples_in(kSkip_s, 2));
  const auto dip = find_dip(current, skip, current.size() - half, depth);
  if (!dip || dip->peak <= skip) return std::nullopt;
  if (current[dip->valley] > s.current_A * (1 - kBelowFinal) - 3 * sigma) return std::nullopt;
  const std::size_t n = dip->valley - dip->peak + 1;
  const double driving = mean_of(p.on_voltage().subspan(dip->peak, n)) -
                         s.resistance_ohm * mean_of(p.on_current().subspan(dip->peak, n));
  if (driving < kDriving * p.step_V) return std::nullopt;
  // The peak is round, so a wide parabola finds it best. Seating stops the
  // plunger dead: the valley is a corner, which a wide one would shift.
  const std::size_t wide = std::max(half, std::min(p.samples_in(kPeakReach_s, 2), n / 2));
  const Vertex peak = vertex_of(p.on_current(), dip->peak, wide, p.current_noise_A);
  const Vertex valley = vertex_of(p.on_current(), dip->valley, half, p.current_noise_A);
  // Each vertex may wander by its reach. Where a jump of one sample made the dip,
  // they pass each other: no plunger did it.
  if (!(valley.index > peak.index)) return std::nullopt;
  const double on = static_cast<double>(p.on);
  const auto u_s = [&](const Vertex& v, std::size_t reach) {
    return p.interval_s * std::hypot(v.u, 0.3, kBlur * static_cast<double>(reach));
  };
  return SeatingDip{on + peak.index, on + valley.index, peak.value,
                    valley.value,    u_s(peak, wide),   u_s(valley, half)};
}

}  // namespace

std::optional<SeatingDip> find_seating(const Prepared& p, const SettledCurrent& settled) {
  std::size_t before = 0;
  for (const double s : kSmooths_s) {
    const std::size_t half = p.samples_in(s, 2);
    if (half == before || 4 * half > p.off - p.on) continue;
    before = half;
    if (const auto dip = dip_at(p, settled, half)) return dip;
  }
  return std::nullopt;
}

Estimate flux_linkage(const Prepared& p, const SettledCurrent& settled,
                      const AnalysisOptions& options) {
  double sum = 0, charge = 0;
  const std::size_t first = p.on > 2 ? p.on - 2 : 0;
  for (std::size_t k = first; k < settled.from; ++k) {
    sum += (p.voltage_V[k] - settled.resistance_ohm * p.current_A[k]) * p.interval_s;
    charge += p.current_A[k] * p.interval_s;
  }
  const double n = static_cast<double>(settled.from - first);
  const double length_s = n * p.interval_s;
  const double r = settled.resistance_ohm;
  const double zero = length_s * std::hypot(p.voltage_offset_u, r * p.current_offset_u);
  const double noise =
      p.interval_s * std::sqrt(n) *
      std::hypot(p.voltage_colour * p.voltage_noise_V, r * p.current_colour * p.current_noise_A);
  // R comes from the same channels, so a wrong gain of v scales the linkage and
  // one of i cancels.
  return {sum, std::hypot(std::hypot(zero, noise), settled.noise_u * charge,
                          std::hypot(options.voltage_gain_u * sum, p.model_u_s * p.step_V))};
}

Estimate inductance_growth(const Prepared& p, const SettledCurrent& settled, const RestFit& rest) {
  if (!rest.found()) return {};
  const std::size_t half = p.samples_in(0.2e-3, 2);
  const auto amps = smooth(p.on_current(), half);
  const auto volts = smooth(p.on_voltage(), half);
  const double r = settled.resistance_ohm, eddy = rest.eddy_siemens(r);
  double linkage = 0, charge = 0;
  Estimate out{0, 0};
  for (std::size_t k = 0; k + p.on < settled.from; ++k) {
    linkage += (p.on_voltage()[k] - r * p.on_current()[k]) * p.interval_s;
    charge += p.on_current()[k] * p.interval_s;
    const double magnetising = amps[k] - (volts[k] - r * amps[k]) * eddy;
    if (magnetising < kEnoughFlux * settled.current_A) continue;
    const double at_rest = rest.inductance_H.value * magnetising;
    // R's error makes the linkage drift: late growth must exceed it to count.
    const double u = std::hypot(settled.noise_u * charge, p.model_u_s * p.step_V) / at_rest;
    const double value = linkage / at_rest;
    if (out.value == 0 || value - 2 * u > out.value - 2 * out.u) out = {value, u};
  }
  out.u = std::hypot(out.u, out.value * rest.inductance_H.u / rest.inductance_H.value);
  return out.value > 0 ? out : Estimate{};
}

PlungerJudgement judge_plunger(const CoilFigures& f, PlungerAction coil_class) {
  if (coil_class == PlungerAction::variable)
    return {Plunger::not_judged, "a variable-force plunger can move without a mark in the current"};
  if (f.pull_in) return {Plunger::moved, "the current dips and recovers as the plunger seats"};
  if (f.current_limited)
    return {Plunger::not_judged,
            "the supply's current limit was reached and no dip came before it"};
  if (!f.inductance_growth.usable())
    return {Plunger::not_judged,
            "no dip in the current, and no inductance to compare the flux with"};
  const double beyond = f.inductance_growth.value - 1, u = f.inductance_growth.u;
  if (beyond > std::max(kGrew, 3 * u))
    return {
        Plunger::not_judged,
        "no dip in the current although the inductance grew: the plunger moved slowly, or in part"};
  if (beyond + u < std::max(kRested, 2 * u) && u < kGrew / 2)
    return {
        Plunger::no_motion_seen,
        "the current rises without a dip and the inductance does not grow: the plunger is stuck"};
  return {Plunger::not_judged,
          "no dip in the current, and too little change of inductance to tell"};
}

}  // namespace pinproof::waveform
