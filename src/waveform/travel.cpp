#include "waveform/travel.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "waveform/motion.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kBegun = 0.02;       // of the travel: what counts as begun
constexpr double kFittedPart = 0.9;   // of the travel that the equation of motion is fitted to
constexpr double kLeastFlux = 0.08;   // of the linkage at the end of travel: below, s is noise
constexpr double kLeastShare = 0.03;  // of the gap: less travel is not looked into
constexpr double kLongest_s = 12e-3;  // looked at before the end of travel
constexpr double kSlowReach_s = 0.4e-3;
constexpr double kFinest_s = 10e-6;  // faster captures are averaged down to this
constexpr double kSilent_A = 1e-5;   // noise of a capture that has none
constexpr double kModel = 0.02;      // of the travel's time: saturation and leakage
constexpr double kNeedModel = 0.02;  // of the freeing current: the same
constexpr double kArrived = 0.95;
constexpr double kLeastLeft = 0.03;    // of the largest linkage: below, s is noise after switch-off
constexpr double kLinkageTimes_u = 8;  // and this many times its uncertainty
constexpr double kQuickEnd = 0.12;     // of the time since switch-off, for that last part
constexpr double kReturnFrom = 0.5, kReturnTo = 0.12;  // of the travel: its last part

constexpr double kBounce_s = 6e-3;  // a plunger that bounces does so at once
constexpr double kBounceNoise = 8, kBounceShare = 0.01;

std::size_t sample_at(double index, std::size_t first, std::size_t end) {
  const double at =
      std::clamp(index - static_cast<double>(first), 0.0, static_cast<double>(end) - 1);
  return static_cast<std::size_t>(at);
}

std::vector<double> averaged(const std::vector<double>& x, std::size_t from, std::size_t block,
                             std::size_t n) {
  std::vector<double> out(n);
  for (std::size_t k = 0; k < n; ++k)
    out[k] = mean_of(std::span(x).subspan(from + k * block, block));
  return out;
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
  std::size_t meaningful(std::size_t seated) const;
  void find_end(std::size_t seated, Travel& out) const;
  void count_bounces(const SeatingDip& dip, Travel& out) const;
  CurrentEvent event_at(double k, double u) const {
    const std::size_t at = std::min(static_cast<std::size_t>(k), trace_.share.size() - 1);
    const double index = static_cast<double>(trace_.first) + k;
    return {p_.seconds(index, p_.on_index), amps_at(at), std::hypot(p_.on_u_s, u * p_.interval_s)};
  }
  double amps_at(std::size_t k) const {
    k = std::min(k, trace_.share.size() - 1);
    const std::size_t from = k > half_ ? k - half_ : 0;
    const std::size_t to = std::min(k + half_ + 1, trace_.share.size());
    return mean_of(std::span(trace_.magnetising_A).subspan(from, to - from));
  }

  const Prepared& p_;
  const RestFit& rest_;
  const TravelTrace& trace_;
  std::size_t half_;
  std::vector<double> smooth_;
};

// From where the linkage means something to near the end of the travel, the
// equation of motion is fitted. What lies before is at rest.
void TravelFinder::find_begin(std::size_t seated, Travel& out) const {
  const double full = out.stroke_share.value;
  const std::size_t start = meaningful(seated);
  std::size_t last = start;
  while (last < seated && smooth_[last] < kFittedPart * full) ++last;
  const std::size_t longest = p_.samples_in(kLongest_s, 10);
  const std::size_t from = last - start > longest ? last - longest : start;
  // No finer than the motion needs.
  const auto block = static_cast<std::size_t>(std::max(1.0, std::floor(kFinest_s / p_.interval_s)));
  const std::size_t n = (last - from) / block;
  if (n < 20) return;
  const auto linkage = averaged(trace_.linkage_Vs, from, block, n);
  const auto share = averaged(trace_.share, from, block, n);
  const double b = static_cast<double>(block), inductance = rest_.inductance_H.value;
  const double noise = std::max(p_.current_noise_A * p_.current_colour / std::sqrt(b), kSilent_A);
  const Motion motion = fit_motion({linkage, share, inductance * noise, kBegun * full});
  if (!motion.found) return;
  const double at = static_cast<double>(from) + b * motion.begin + (b - 1) / 2;
  const double model = kModel * (static_cast<double>(n) - motion.begin);
  out.begin = event_at(at, b * std::hypot(motion.begin_u, model, 0.3));
  const double noise_A =
      p_.current_noise_A * p_.current_colour / std::sqrt(static_cast<double>(2 * half_ + 1));
  const auto reach = static_cast<std::size_t>(b * std::hypot(motion.begin_u, model)) + half_;
  const auto mark = static_cast<std::size_t>(at);
  const double later = amps_at(mark + reach), sooner = amps_at(mark > reach ? mark - reach : 0);
  out.begin_u_A = std::hypot(
      noise_A, p_.current_offset_u,
      (later - sooner) / 2 * b * std::hypot(motion.begin_u, model) / static_cast<double>(reach));
  out.need_A = motion.freeing_Vs / inductance;
  out.need_u_A =
      std::hypot(motion.freeing_u_Vs / inductance, out.need_A * rest_.inductance_H.u / inductance,
                 kNeedModel * out.need_A);
}

// From here on the linkage is large enough for s to mean something.
std::size_t TravelFinder::meaningful(std::size_t seated) const {
  const double least = kLeastFlux * trace_.linkage_Vs[seated];
  std::size_t k = seated;
  while (k > 0 && trace_.linkage_Vs[k - 1] > least) --k;
  return k;
}

void TravelFinder::find_end(std::size_t seated, Travel& out) const {
  std::size_t k = meaningful(seated);
  while (k < seated && smooth_[k] < kArrived * out.stroke_share.value) ++k;
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
    const std::size_t from =
        std::min(seated, sample_at(dip->peak, trace_.first, trace_.share.size()));
    seated = static_cast<std::size_t>(
        std::max_element(smooth_.begin() + static_cast<std::ptrdiff_t>(from),
                         smooth_.begin() + static_cast<std::ptrdiff_t>(seated) + 1) -
        smooth_.begin());
    count_bounces(*dip, out);
  } else {
    if (!(growth.usable() && growth.value - 1 > std::max(0.12, 3 * growth.u))) return out;
    // Slow travel bears, and needs, more smoothing.
    smooth_ = smooth(trace_.share, p_.samples_in(kSlowReach_s, 2));
    const auto from = static_cast<std::ptrdiff_t>(meaningful(trace_.share.size() - 1));
    seated = static_cast<std::size_t>(std::max_element(smooth_.begin() + from, smooth_.end()) -
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

TravelTrace trace_travel(const Prepared& p, const SettledCurrent& settled, const RestFit& rest) {
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

namespace {

// s after switch-off, as long as the linkage stands well above its own uncertainty.
std::vector<double> returning_share(const Prepared& p, const RestFit& rest,
                                    const TravelTrace& trace) {
  const std::size_t off = p.off - p.on;
  const double most = *std::max_element(trace.linkage_Vs.begin(), trace.linkage_Vs.end());
  std::vector<double> out;
  for (std::size_t k = off; k < trace.linkage_Vs.size(); ++k) {
    const double linkage = trace.linkage_Vs[k];
    if (linkage < std::max(kLeastLeft * most, kLinkageTimes_u * trace.linkage_u_Vs[k])) break;
    out.push_back(1 - rest.inductance_H.value * trace.magnetising_A[k] / linkage);
  }
  return out;
}

}  // namespace

// The plunger returns fastest at the end and stops dead: a line through the last
// part of its way, down to nothing.
Estimate find_return(const Prepared& p, const RestFit& rest, const TravelTrace& trace,
                     const Estimate& stroke_share) {
  const Estimate none{std::nan(""), std::nan("")};
  if (!p.has_off() || !rest.found() || !stroke_share.usable()) return none;
  if (!p.voltage_measured || p.decay_clipped) return none;
  const auto raw = returning_share(p, rest, trace);
  const std::size_t half = p.samples_in(0.1e-3, 2);
  if (raw.size() < 8 * half) return none;
  const auto share = smooth(raw, half);
  const double full = stroke_share.value;
  const auto below = [&](double level, std::size_t from) {
    return first_run(share, from, half, [level](double s) { return s < level; });
  };
  // The edge itself is no travel: it is seated first.
  const auto seated = first_run(share, half, half, [&](double s) { return s > 0.7 * full; });
  if (!seated) return none;
  const auto high = below(kReturnFrom * full, *seated), low = below(kReturnTo * full, *seated);
  if (!high || !low || *low < *high + 2 || *low + half >= share.size()) return none;
  // A plunger that creeps has no end that a line would find.
  if (static_cast<double>(*low - *high) > kQuickEnd * static_cast<double>(*low)) return none;
  // It must stay there: noise on a vanishing linkage does not.
  const auto after = std::span(share).subspan(*low, std::min(share.size() - *low, 6 * half));
  if (upper_median_of({after.begin(), after.end()}) > 1.5 * kReturnTo * full) return none;
  const double slope = (share[*low] - share[*high]) / static_cast<double>(*low - *high);
  const double at = static_cast<double>(*low) - share[*low] / slope;
  const std::size_t mark = std::min(static_cast<std::size_t>(at), raw.size() - 1);
  const double drift =
      trace.linkage_u_Vs[p.off - p.on + mark] / trace.linkage_Vs[p.off - p.on + mark];
  const double u = std::hypot(drift / std::abs(slope), static_cast<double>(half) / 2, 0.3);
  const double at_s = p.seconds(static_cast<double>(p.off) + at, p.off_index);
  return {at_s, p.interval_s * u};
}

Travel find_travel(const Prepared& p, const RestFit& rest, const TravelTrace& trace,
                   const std::optional<SeatingDip>& dip, const Estimate& growth) {
  if (!rest.found()) return {};
  return TravelFinder(p, rest, trace).run(dip, growth);
}

}  // namespace pinproof::waveform
