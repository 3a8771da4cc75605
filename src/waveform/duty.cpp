#include "waveform/duty.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr std::size_t kFewestEdges = 10, kFewestSamples_period = 8;
constexpr double kJitter = 0.10;    // of the period
constexpr double kSameDuty = 0.03;  // off a level's mean: still the same, dither included
constexpr double kSettle = 0.5;     // of a level: the current is still on its way there
constexpr double kLeastDuty = 0.02;
constexpr double kPairs = 0.012;    // two levels of equal duty, up and down
constexpr double kDitherNoise = 5;  // standard deviations of the swing's amplitude

struct Period {
  double from = 0, to = 0;  // samples, fractional
  double duty = 0, mean_A = 0, mean_V = 0, ripple_A = 0;
};

// The two levels between which the voltage switches, by its extremes' medians.
struct Levels {
  double low = 0, high = 0;
};

Levels levels_of(std::span<const double> volts) {
  std::vector<double> sorted(volts.begin(), volts.end());
  std::sort(sorted.begin(), sorted.end());
  const auto at = [&](double share) {
    return sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1))];
  };
  const double middle = (at(0.002) + at(0.998)) / 2;
  std::vector<double> low, high;
  for (const double v : sorted) (v < middle ? low : high).push_back(v);
  if (low.empty() || high.empty()) return {};
  return {upper_median_of(low), upper_median_of(high)};
}

// Rising edges at half of the step, a tenth of it being enough to arm again.
std::vector<double> rising_edges(std::span<const double> volts, const Levels& l) {
  std::vector<double> out;
  const double half = (l.low + l.high) / 2, rearm = l.low + 0.25 * (l.high - l.low);
  bool armed = volts[0] < rearm;
  for (std::size_t k = 1; k < volts.size(); ++k) {
    if (volts[k] < rearm) armed = true;
    if (!armed || volts[k] < half || volts[k - 1] >= half) continue;
    out.push_back(static_cast<double>(k) -
                  (volts[k] - half) / std::max(1e-12, volts[k] - volts[k - 1]));
    armed = false;
  }
  return out;
}

Period period_of(const Capture& c, const Levels& l, double from, double to) {
  Period out{from, to};
  // From edge to edge, so that every sample belongs to one period.
  const auto first = static_cast<std::size_t>(std::ceil(from));
  const auto last = static_cast<std::size_t>(std::ceil(to));
  const double half = (l.low + l.high) / 2;
  double on = 0;
  double least = c.current_A[first], most = least;
  for (std::size_t k = first; k < last; ++k) {
    out.mean_A += c.current_A[k], out.mean_V += c.voltage_V[k];
    least = std::min(least, c.current_A[k]), most = std::max(most, c.current_A[k]);
    // Where it falls through the half, the crossing lies between two samples.
    if (c.voltage_V[k] >= half && k + 1 < c.voltage_V.size()) {
      const double next = c.voltage_V[k + 1];
      on += next >= half ? 1 : (c.voltage_V[k] - half) / (c.voltage_V[k] - next);
    }
  }
  const double n = static_cast<double>(last - first);
  out.mean_A /= n, out.mean_V /= n;
  out.ripple_A = most - least;
  out.duty = std::min(1.0, (on + static_cast<double>(first) - from) / (to - from));
  return out;
}

struct PeriodRun {
  std::size_t from, to;  // periods
};

double duty_of(const std::vector<Period>& periods, const PeriodRun& run) {
  double sum = 0;
  for (std::size_t k = run.from; k < run.to; ++k) sum += periods[k].duty;
  return sum / static_cast<double>(run.to - run.from);
}

// A dither may cut a level at its first swing.
void append(const std::vector<Period>& periods, const PeriodRun& run, std::vector<PeriodRun>& out) {
  if (!out.empty() && out.back().to == run.from &&
      std::abs(duty_of(periods, out.back()) - duty_of(periods, run)) < kSameDuty)
    out.back().to = run.to;
  else
    out.push_back(run);
}

std::vector<PeriodRun> equal_duty(const std::vector<Period>& periods) {
  std::vector<PeriodRun> out;
  std::size_t from = 0;
  double sum = 0;
  for (std::size_t k = 0; k <= periods.size(); ++k) {
    const double middle = k > from ? sum / static_cast<double>(k - from) : 0;
    if (k == periods.size() || (k > from && std::abs(periods[k].duty - middle) >= kSameDuty)) {
      if (k - from >= 4) append(periods, {from, k}, out);
      from = k, sum = 0;
    }
    if (k < periods.size()) sum += periods[k].duty;
  }
  return out;
}

class DutyReader {
 public:
  DutyReader(const Capture& c, std::vector<Period> periods) : c_(c), periods_(std::move(periods)) {}

  void fill(DutySweep& out) const {
    for (const PeriodRun& run : equal_duty(periods_)) out.levels.push_back(level(run, out.levels));
    if (out.levels.empty()) {
      out.reason = "the duty never stands still for four periods";
      return;
    }
    fill_resistance(out);
    pair_up(out);
    find_dither(out);
    find_slope(out);
  }

 private:
  DutyLevel level(const PeriodRun& run, const std::vector<DutyLevel>& before) const {
    const std::size_t from =
        run.from + static_cast<std::size_t>(kSettle * static_cast<double>(run.to - run.from));
    std::vector<double> amps, volts, ripples, duties;
    for (std::size_t k = from; k < run.to; ++k) {
      amps.push_back(periods_[k].mean_A), volts.push_back(periods_[k].mean_V);
      ripples.push_back(periods_[k].ripple_A), duties.push_back(periods_[k].duty);
    }
    DutyLevel out;
    out.from_s = c_.time(periods_[run.from].from), out.to_s = c_.time(periods_[run.to - 1].to);
    out.duty = mean_of(duties), out.periods = amps.size();
    const double root = std::sqrt(static_cast<double>(amps.size()));
    out.mean_A = {mean_of(amps), deviation(amps) / root};
    out.ripple_A = mean_of(ripples);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    out.resistance_ohm = {nan, nan};
    if (out.duty > kLeastDuty && out.mean_A.value > 0) {
      const double r = mean_of(volts) / out.mean_A.value;
      out.resistance_ohm = {r, r * std::hypot(out.mean_A.u / out.mean_A.value,
                                              deviation(volts) / root / mean_of(volts))};
    }
    out.rising = before.empty() || out.duty > before.back().duty;
    return out;
  }

  static void fill_resistance(DutySweep& out) {
    std::vector<double> ohms;
    for (const DutyLevel& l : out.levels)
      if (l.resistance_ohm.usable() && l.duty > 0.1) ohms.push_back(l.resistance_ohm.value);
    if (ohms.empty()) return;
    out.resistance_ohm = {upper_median_of(ohms),
                          ohms.size() > 1
                              ? 1.25 * deviation(ohms) / std::sqrt(static_cast<double>(ohms.size()))
                              : out.levels.front().resistance_ohm.u};
  }

  static void pair_up(DutySweep& out) {
    for (const DutyLevel& up : out.levels) {
      if (!up.rising) continue;
      for (const DutyLevel& down : out.levels) {
        if (down.rising || std::abs(down.duty - up.duty) > kPairs) continue;
        out.both_ways.push_back(
            {up.duty, up.mean_A.value, down.mean_A.value, up.ripple_A, down.ripple_A});
        out.hysteresis_A =
            std::max(out.hysteresis_A, std::abs(up.mean_A.value - down.mean_A.value));
        if (up.ripple_A > 0)
          out.ripple_hysteresis =
              std::max(out.ripple_hysteresis, std::abs(down.ripple_A / up.ripple_A - 1));
        break;
      }
    }
  }

  // A slow swing of the mean current over the longest level: the strongest of the
  // frequencies that fit in, by least squares.
  void find_dither(DutySweep& out) const {
    PeriodRun longest{0, 0};
    for (const PeriodRun& run : equal_duty(periods_))
      if (run.to - run.from > longest.to - longest.from) longest = run;
    const std::size_t from = longest.from + (longest.to - longest.from) / 2;
    const std::size_t n = longest.to - from;
    if (n < 16) return;
    std::vector<double> x(n);
    for (std::size_t k = 0; k < n; ++k) x[k] = periods_[from + k].mean_A;
    const double middle = mean_of(x), total = deviation(x);
    if (!(total > 0)) return;
    for (std::size_t cycles = 2; cycles <= n / 4; ++cycles) {
      double c = 0, s = 0;
      for (std::size_t k = 0; k < n; ++k) {
        const double phase = 2 * M_PI * static_cast<double>(cycles * k) / static_cast<double>(n);
        c += (x[k] - middle) * std::cos(phase), s += (x[k] - middle) * std::sin(phase);
      }
      const double amplitude = 2 * std::hypot(c, s) / static_cast<double>(n);
      const double left = std::sqrt(std::max(0.0, total * total - amplitude * amplitude / 2));
      const double u = left * std::sqrt(2 / static_cast<double>(n));
      if (amplitude > out.dither_A && amplitude > kDitherNoise * u) {
        out.dither_A = amplitude;
        const double length_s = (periods_[longest.to - 1].to - periods_[from].from) * c_.interval_s;
        out.dither_Hz = static_cast<double>(cycles) / length_s;
      }
    }
  }

  static void find_slope(DutySweep& out) {
    if (!out.resistance_ohm.usable()) return;
    out.least_slope = std::numeric_limits<double>::infinity();
    const double ideal = out.step_V / out.resistance_ohm.value;
    for (std::size_t k = 1; k < out.levels.size(); ++k) {
      const double duty = out.levels[k].duty - out.levels[k - 1].duty;
      if (std::abs(duty) < kSameDuty) continue;
      const double amps = out.levels[k].mean_A.value - out.levels[k - 1].mean_A.value;
      out.least_slope = std::min(out.least_slope, amps / duty / ideal);
    }
    if (!std::isfinite(out.least_slope)) out.least_slope = 0;
  }

  const Capture& c_;
  std::vector<Period> periods_;
};

}  // namespace

bool looks_modulated(const Capture& capture) {
  if (!fault_in(capture).empty() || capture.voltage_V.empty()) return false;
  const Levels l = levels_of(capture.voltage_V);
  if (!(l.high - l.low > 10 * noise_of(capture.voltage_V))) return false;
  return rising_edges(capture.voltage_V, l).size() >= kFewestEdges;
}

DutySweep analyse_duty(const Capture& capture) {
  DutySweep out;
  out.reason = fault_in(capture);
  if (out.reason.empty() && capture.voltage_V.empty())
    out.reason = "a duty sweep needs the coil's voltage beside its current";
  if (!out.reason.empty()) return out;
  const Levels l = levels_of(capture.voltage_V);
  const auto edges = rising_edges(capture.voltage_V, l);
  if (edges.size() < kFewestEdges) {
    out.reason = "the voltage does not switch often enough for a duty sweep";
    return out;
  }
  std::vector<double> lengths;
  for (std::size_t k = 1; k < edges.size(); ++k) lengths.push_back(edges[k] - edges[k - 1]);
  const double period = upper_median_of(lengths);
  if (period < static_cast<double>(kFewestSamples_period)) {
    out.reason = "fewer than eight samples a period: sample faster";
    return out;
  }
  std::vector<Period> periods;
  for (std::size_t k = 1; k < edges.size(); ++k)
    if (std::abs(lengths[k - 1] - period) < kJitter * period)
      periods.push_back(period_of(capture, l, edges[k - 1], edges[k]));
  double sum = 0;
  for (const Period& p : periods) sum += p.to - p.from;
  out.frequency_Hz = static_cast<double>(periods.size()) / (sum * capture.interval_s);
  out.step_V = l.high;
  DutyReader(capture, std::move(periods)).fill(out);
  return out;
}

}  // namespace pinproof::waveform
