#include "waveform/travel.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kBegun = 0.02;        // of the travel: what counts as begun
constexpr double kStartPart = 0.25;    // of the travel that the start's law is fitted to
constexpr double kLeastFlux = 0.2;     // of the linkage at the end of travel: below, s is noise
constexpr double kLeastShare = 0.03;   // of the gap: less travel is not looked into
constexpr double kMostStart_s = 4e-3;  // the start's law holds no longer
constexpr double kArrived = 0.95;
constexpr double kDamped = 2, kFree = 3;  // v, or the acceleration, goes with a growing force
constexpr std::size_t kTrials = 60;       // instants tried for the start
constexpr double kBounce_s = 6e-3;        // a plunger that bounces does so at once
constexpr double kBounceNoise = 8, kBounceShare = 0.01;

// y = base + gain max(0, t - start)^power, for the best of many starts.
struct StartLaw {
  double start = 0, base = 0, gain = 0, power = 2, rss = 1e300;
};

struct Line {
  double base, gain, rss;
};

Line fit_line(std::span<const double> y, double start, double power) {
  double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
  for (std::size_t k = 0; k < y.size(); ++k) {
    const double x = std::pow(std::max(0.0, static_cast<double>(k) - start), power);
    n += 1, sx += x, sy += y[k], sxx += x * x, sxy += x * y[k], syy += y[k] * y[k];
  }
  const double spread = sxx - sx * sx / n;
  const double gain = spread > 0 ? (sxy - sx * sy / n) / spread : 0;
  const double base = (sy - gain * sx) / n;
  return {base, gain, syy - base * sy - gain * sxy};
}

StartLaw best_start(std::span<const double> y, double power) {
  StartLaw best;
  const double length = static_cast<double>(y.size());
  for (std::size_t trial = 0; trial < kTrials; ++trial) {
    const double start = 0.9 * length * static_cast<double>(trial) / kTrials;
    const Line line = fit_line(y, start, power);
    if (line.gain > 0 && line.rss < best.rss) best = {start, line.base, line.gain, power, line.rss};
  }
  return best;
}

// The free plunger's law, unless the damped one's is better beyond doubt.
StartLaw fit_start(std::span<const double> y) {
  const StartLaw free = best_start(y, kFree), damped = best_start(y, kDamped);
  const double doubt = 9 / static_cast<double>(y.size());
  return damped.rss < free.rss * (1 - doubt) ? damped : free;
}

std::size_t sample_at(double index, std::size_t first, std::size_t end) {
  const double at =
      std::clamp(index - static_cast<double>(first), 0.0, static_cast<double>(end) - 1);
  return static_cast<std::size_t>(at);
}

class TravelFinder {
 public:
  TravelFinder(const Prepared& p, const RestFit& rest, const TravelTrace& trace)
      : p_(p),
        rest_(rest),
        trace_(trace),
        half_(p.samples_in(0.1e-3, 2)),
        smooth_(smooth(trace.share, half_)) {}

  Travel run(const std::optional<SeatingDip>& dip, const Estimate& growth);

 private:
  void find_begin(std::size_t seated, Travel& out) const;
  void find_end(std::size_t seated, Travel& out) const;
  void count_bounces(const SeatingDip& dip, Travel& out) const;
  Event event_at(double k, double u) const {
    const std::size_t at = std::min(static_cast<std::size_t>(k), trace_.share.size() - 1);
    const double index = static_cast<double>(trace_.first) + k;
    return {p_.seconds(index, p_.on_index), amps_at(at), std::hypot(p_.on_u_s, u * p_.interval_s)};
  }
  double amps_at(std::size_t k) const {
    const std::size_t from = k > half_ ? k - half_ : 0;
    const std::size_t to = std::min(k + half_ + 1, trace_.share.size());
    return mean(std::span(trace_.magnetising_A).subspan(from, to - from));
  }

  const Prepared& p_;
  const RestFit& rest_;
  const TravelTrace& trace_;
  std::size_t half_;
  std::vector<double> smooth_;
};

// From where the linkage means something to a quarter of the travel, the travel
// starts as a power of time. What lies before is the base.
void TravelFinder::find_begin(std::size_t seated, Travel& out) const {
  const double full = out.stroke_share.value;
  std::size_t quarter = seated;
  while (quarter > 0 && smooth_[quarter] > kStartPart * full) --quarter;
  std::size_t from = quarter;
  const double least = kLeastFlux * trace_.linkage_Vs[seated];
  const std::size_t longest = p_.samples_in(kMostStart_s, 10);
  while (from > 0 && trace_.linkage_Vs[from - 1] > least && quarter - from < longest) --from;
  if (quarter < from + 12) return;
  const auto y = std::span(trace_.share).subspan(from, quarter - from + 1);
  const StartLaw law = fit_start(y);
  if (!(law.gain > 0)) return;
  const double at = law.start + std::pow(kBegun * full / law.gain, 1 / law.power);
  const double sigma = std::sqrt(law.rss / static_cast<double>(y.size() - 3));
  // The slope there turns the noise of a short mean into time.
  const double since = std::max(at - law.start, 1.0);
  const double slope = law.power * law.gain * std::pow(since, law.power - 1);
  const double u = std::hypot(sigma / std::sqrt(since) / slope, 0.1 * since, 0.3);
  out.begin = event_at(static_cast<double>(from) + at, u);
  const auto need = static_cast<std::size_t>(static_cast<double>(from) + law.start);
  out.need_A = amps_at(need);
  const std::size_t later = std::min(need + static_cast<std::size_t>(u) + 1, seated);
  out.need_u_A = std::hypot(amps_at(later) - out.need_A,
                            p_.current_noise_A / std::sqrt(static_cast<double>(2 * half_ + 1)),
                            p_.current_offset_u);
}

void TravelFinder::find_end(std::size_t seated, Travel& out) const {
  std::size_t k = seated;
  while (k > 0 && smooth_[k - 1] > kArrived * out.stroke_share.value) --k;
  out.end = event_at(static_cast<double>(k), static_cast<double>(half_));
}

void TravelFinder::count_bounces(const SeatingDip& dip, Travel& out) const {
  const std::size_t from = sample_at(dip.valley, p_.on, p_.off - p_.on) + half_;
  const std::size_t to = std::min(from + p_.samples_in(kBounce_s, 10), p_.off - p_.on - half_);
  const auto current = smooth(p_.on_current(), half_);
  const double depth =
      std::max(kBounceNoise * p_.current_noise_A * p_.current_colour * smoothed_share(half_),
               kBounceShare * dip.peak_A);
  for (std::size_t at = from; at + 4 < to;) {
    const auto next = find_dip(current, at, to, depth);
    if (!next) break;
    ++out.bounces;
    at = next->valley + 1;
  }
}

Travel TravelFinder::run(const std::optional<SeatingDip>& dip, const Estimate& growth) {
  Travel out;
  if (trace_.share.size() < 20) return out;
  std::size_t seated = 0;
  if (dip) {
    seated = sample_at(dip->valley, trace_.first, trace_.share.size());
    const std::size_t from = sample_at(dip->peak, trace_.first, trace_.share.size());
    seated = static_cast<std::size_t>(
        std::max_element(smooth_.begin() + static_cast<std::ptrdiff_t>(from),
                         smooth_.begin() + static_cast<std::ptrdiff_t>(seated) + 1) -
        smooth_.begin());
    count_bounces(*dip, out);
  } else {
    if (!(growth.usable() && growth.value - 1 > std::max(0.12, 3 * growth.u))) return out;
    seated = static_cast<std::size_t>(std::max_element(smooth_.begin(), smooth_.end()) -
                                      smooth_.begin());
  }
  const double share = smooth_[seated];
  if (share < kLeastShare) return out;
  const double own = trace_.linkage_u_Vs[seated] / trace_.linkage_Vs[seated];
  out.stroke_share = {share, std::hypot((1 - share) * std::hypot(own, rest_.inductance_H.u /
                                                                          rest_.inductance_H.value),
                                        0.01)};
  find_begin(seated, out);
  if (!dip) find_end(seated, out);
  return out;
}

}  // namespace

TravelTrace trace_travel(const Prepared& p, const Settled& settled, const RestFit& rest) {
  TravelTrace out;
  out.first = p.on;
  const double r = settled.resistance_ohm, eddy = rest.eddy_siemens(r);
  double linkage = 0, charge = 0, volts_before = p.on > 0 ? p.voltage_V[p.on - 1] : 0;
  double amps_before = p.on > 0 ? p.current_A[p.on - 1] : 0;
  for (std::size_t k = p.on; k < p.size(); ++k) {
    const double v = p.voltage_V[k], i = p.current_A[k];
    // Straight lines between the samples, as the model sees the voltage; a
    // switching edge inside one interval is placed at its own instant.
    linkage += p.interval_s * (v + volts_before - r * (i + amps_before)) / 2;
    charge += p.interval_s * std::abs(i);
    volts_before = v, amps_before = i;
    const double since = p.interval_s * static_cast<double>(k - p.on + 1);
    out.linkage_Vs.push_back(linkage);
    out.magnetising_A.push_back(i - (v - r * i) * eddy);
    const double noise =
        p.interval_s * std::sqrt(static_cast<double>(k - p.on + 1)) *
        std::hypot(p.voltage_colour * p.voltage_noise_V, r * p.current_colour * p.current_noise_A);
    out.linkage_u_Vs.push_back(
        std::hypot(std::hypot(settled.noise_u * charge, p.model_u_s * p.step_V, noise),
                   since * std::hypot(p.voltage_offset_u, r * p.current_offset_u)));
  }
  const std::size_t on = p.off - p.on;
  const double least =
      0.02 * *std::max_element(out.linkage_Vs.begin(),
                               out.linkage_Vs.begin() + static_cast<std::ptrdiff_t>(on));
  for (std::size_t k = 0; k < on; ++k)
    out.share.push_back(out.linkage_Vs[k] > least
                            ? 1 - rest.inductance_H.value * out.magnetising_A[k] / out.linkage_Vs[k]
                            : 0);
  return out;
}

Travel find_travel(const Prepared& p, const RestFit& rest, const TravelTrace& trace,
                   const std::optional<SeatingDip>& dip, const Estimate& growth) {
  if (!rest.found()) return {};
  return TravelFinder(p, rest, trace).run(dip, growth);
}

}  // namespace pinproof::waveform
