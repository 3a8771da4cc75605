#include "waveform/coil_figures.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "waveform/separable.h"
#include "waveform/signal.h"

namespace pinproof::waveform {
namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t kFewest = 50;          // samples
constexpr double kSettledFrom = 0.80;        // of the on phase
constexpr double kSettledTo = 0.98;
constexpr double kSettledSlope = 0.02;       // change over the settled window, relative: more is not settled
constexpr double kSkip_s = 0.15e-3;          // after the onset: leakage and flux diffusion, not the model
constexpr double kFitTo = 0.55;              // of the final current: saturation and motion are beyond
constexpr double kFitBeforePeak = 0.70;      // of the time to the peak: the plunger moves before it
constexpr double kDip = 0.004;               // least dip of the final current that counts
constexpr double kSmooth_s = 0.10e-3;

struct Phases {
  std::size_t on = 0;        // first sample of the on phase
  double on_index = 0;       // fractional
  std::size_t off = 0;       // first sample after it; size() when the capture ends on
  double off_index = kNan;
};

class Analysis {
 public:
  Analysis(const Capture& capture, const AnalysisOptions& options)
      : dt_(capture.interval_s), start_(capture.start_s), i_(capture.current_A), v_(capture.voltage_V), options_(options) {}

  CoilFigures run() {
    out_.status = refuse_early();
    if (out_.status != Status::ok) return out_;
    find_phases();
    if (out_.status != Status::ok) return out_;
    settle();
    if (out_.status != Status::ok) return out_;
    find_plunger();
    fit_rise();
    judge_plunger();
    find_release();
    integrate_flux();
    return out_;
  }

 private:
  Status refuse_early();
  void find_phases();
  void find_off(std::span<const double> level_signal, double threshold);
  void settle();
  void smooth_by_phase();
  void find_plunger();
  void fit_rise();
  void set_inductance(const SeparableFit& fit, double loop_ohm, double source_V);
  double loop_inductance(double final_A, double source_V, std::span<const double> t, std::span<const double> y, double k_start) const;
  void judge_plunger();
  bool inflected() const;
  void find_release();
  void integrate_flux();
  double seconds_since(double index, double reference) const { return (index - reference) * dt_; }
  std::size_t half_window() const { return static_cast<std::size_t>(std::clamp(kSmooth_s / dt_, 2.0, 60.0)); }

  double dt_, start_;
  std::vector<double> i_, v_;
  const AnalysisOptions& options_;
  CoilFigures out_;
  Phases phase_;
  double v_noise_ = 0;
  double i_offset_u_ = 0;
  std::vector<double> smoothed_;
  double source_V_ = 0, source_ohm_ = 0;  // voltage across the coil = source_V - source_ohm * i
};

Status Analysis::refuse_early() {
  const auto finite = [](double x) { return std::isfinite(x); };
  if (!std::all_of(i_.begin(), i_.end(), finite) || !std::all_of(v_.begin(), v_.end(), finite)) return Status::not_finite;
  if (i_.size() < kFewest || !(dt_ > 0) || (!v_.empty() && v_.size() != i_.size())) return Status::too_short;
  if (v_.empty() && !(options_.supply_V > 0)) return Status::no_voltage;
  const auto beyond = [](const std::vector<double>& x, double end) {
    return end > 0 && std::any_of(x.begin(), x.end(), [end](double s) { return std::abs(s) >= 0.999 * end; });
  };
  if (beyond(i_, options_.clip_A)) return Status::clipped;
  return Status::ok;
}

// Samples that stand exactly at the top while the rest of the signal is noisy
// were cut off by a range nobody told us of.
bool looks_clipped(std::span<const double> x, double noise) {
  const double top = *std::max_element(x.begin(), x.end());
  const auto at_top = static_cast<std::size_t>(std::count(x.begin(), x.end(), top));
  const double spread = *std::max_element(x.begin(), x.end()) - *std::min_element(x.begin(), x.end());
  return at_top > x.size() / 10 && noise > 2e-4 * spread;
}

void Analysis::find_phases() {
  const bool has_v = !v_.empty();
  const std::vector<double>& lead = has_v ? v_ : i_;
  const std::size_t head = std::max<std::size_t>(5, lead.size() / 100);
  const double low = median({lead.begin(), lead.begin() + static_cast<std::ptrdiff_t>(head)});
  const double noise = noise_of(std::span(lead).first(std::min(lead.size(), 4 * head)));
  std::vector<double> sorted(lead);
  std::sort(sorted.begin(), sorted.end());
  const double high = sorted[static_cast<std::size_t>(0.9 * static_cast<double>(sorted.size() - 1))];
  const double deep = sorted[static_cast<std::size_t>(0.1 * static_cast<double>(sorted.size() - 1))];
  const double least = std::max(20 * noise, has_v ? 0.2 : 1e-3);
  if (high - low < least) {
    out_.status = low - deep > least ? Status::wrong_polarity : Status::no_step;
    return;
  }
  const double threshold = low + (has_v ? 0.5 : 0.02) * (high - low);
  const auto on = rises_through(lead, threshold, 1);
  if (!on) {
    out_.status = Status::no_step;
    return;
  }
  phase_.on_index = *on;
  phase_.on = static_cast<std::size_t>(*on) + 1;
  find_off(lead, has_v ? threshold : low + 0.5 * (high - low));
  if (out_.status != Status::ok) return;
  out_.onset_s = start_ + *on * dt_;
  // The baseline of both channels is what they show before the step.
  if (phase_.on >= 8) {
    const auto before = std::span(i_).first(phase_.on - 2);
    const double i0 = mean(before);
    i_offset_u_ = deviation(before) / std::sqrt(static_cast<double>(before.size()));
    for (double& x : i_) x -= i0;
    if (has_v) {
      const double v0 = mean(std::span(v_).first(phase_.on - 2));
      for (double& x : v_) x -= v0;
    }
  } else {
    i_offset_u_ = options_.current_offset_u;
  }
  if (!has_v) {
    v_.assign(i_.size(), 0.0);
    std::fill(v_.begin() + static_cast<std::ptrdiff_t>(phase_.on), v_.begin() + static_cast<std::ptrdiff_t>(phase_.off), options_.supply_V);
  }
}

void Analysis::find_off(std::span<const double> signal, double threshold) {
  phase_.off = signal.size();
  // Off only when it stays low for a while: one dropped sample is not a switch-off.
  std::size_t from = phase_.on + 3;
  while (const auto off = falls_through(signal, threshold, from)) {
    const auto first = static_cast<std::size_t>(*off) + 1;
    const std::size_t until = std::min(signal.size(), first + 5);
    if (std::all_of(signal.begin() + static_cast<std::ptrdiff_t>(first), signal.begin() + static_cast<std::ptrdiff_t>(until), [&](double x) { return x <= threshold; })) {
      phase_.off = first;
      phase_.off_index = *off;
      break;
    }
    from = first + 1;
  }
  out_.off_s = std::isnan(phase_.off_index) ? kNan : start_ + phase_.off_index * dt_;
  if (phase_.off == signal.size()) return;
  if (const auto again = rises_through(signal, threshold, phase_.off + 5)) {
    const auto at = static_cast<std::size_t>(*again) + 1;
    const std::size_t until = std::min(signal.size(), at + 5);
    if (std::all_of(signal.begin() + static_cast<std::ptrdiff_t>(at), signal.begin() + static_cast<std::ptrdiff_t>(until), [&](double x) { return x >= threshold; }))
      out_.status = Status::two_steps;
  }
}

void Analysis::settle() {
  const double on_length = static_cast<double>(phase_.off - phase_.on);
  if (on_length < static_cast<double>(kFewest) / 2) {
    out_.status = Status::too_short;
    return;
  }
  const auto from = phase_.on + static_cast<std::size_t>(kSettledFrom * on_length);
  const auto to = phase_.on + static_cast<std::size_t>(kSettledTo * on_length);
  const auto on_current = std::span(i_).subspan(phase_.on, phase_.off - phase_.on);
  const auto current = std::span(i_).subspan(from, to - from);
  const auto voltage = std::span(v_).subspan(from, to - from);
  const double n = static_cast<double>(current.size());
  out_.noise_A = noise_of(on_current);
  v_noise_ = noise_of(voltage);
  const double i = mean(current);
  const double v = mean(voltage);
  const double i_noise = out_.noise_A / std::sqrt(n);
  if (i < -5 * out_.noise_A - 1e-4) {
    out_.status = Status::wrong_polarity;
    return;
  }
  if (!(i > std::max({1e-3, 10 * i_noise, 3 * options_.current_offset_u}))) {
    out_.status = Status::no_current;
    return;
  }
  if (looks_clipped(on_current, out_.noise_A)) {
    out_.status = Status::clipped;
    return;
  }
  // Change over the window, from its two halves; what is left of the rise is
  // worth L di/dt in volts and is taken off.
  const double change = 2 * (mean(current.last(current.size() / 2)) - mean(current.first(current.size() / 2)));
  if (std::abs(change) > kSettledSlope * i + 10 * i_noise) {
    out_.status = Status::too_short;
    return;
  }
  // The tail's own time constant is not known yet: the whole change is the bound.
  const double tail_u = std::abs(change) / i / std::sqrt(3.0);
  const double relative = std::hypot(options_.voltage_gain_u, options_.current_gain_u, tail_u);
  const double noise = std::hypot(v_noise_ / std::sqrt(n) / v, i_noise / i);
  const double offset = std::hypot(options_.voltage_offset_u / v, std::max(i_offset_u_, options_.current_offset_u) / i);
  out_.resistance_ohm = {v / i, v / i * std::hypot(relative, noise, offset)};
  out_.final_current_A = {i, i * std::hypot(options_.current_gain_u, i_noise / i, tail_u)};
  // How the source gives way: voltage against current early and late.
  const auto early = std::span(v_).subspan(phase_.on + 3, std::max<std::size_t>(5, static_cast<std::size_t>(0.02 * on_length)));
  const auto early_i = std::span(i_).subspan(phase_.on + 3, early.size());
  source_ohm_ = std::max(0.0, (mean(early) - v) / (i - mean(early_i)));
  source_V_ = v + source_ohm_ * i;
  out_.current_limited = v < 0.85 * mean(early);
  smooth_by_phase();
  const auto level = [&](double share) { return rises_through(smoothed_, share * i, phase_.on > 2 ? phase_.on - 2 : 1); };
  if (const auto low = level(0.1), high = level(0.9); low && high) out_.rise_time_s = {(*high - *low) * dt_, dt_ / std::sqrt(6.0)};
}

// The eddy path makes the current jump at both edges; a smoother that ran across
// them would ring.
void Analysis::smooth_by_phase() {
  smoothed_.clear();
  const auto append = [&](std::size_t from, std::size_t to) {
    const auto part = smooth(std::span(i_).subspan(from, to - from), half_window());
    smoothed_.insert(smoothed_.end(), part.begin(), part.end());
  };
  append(0, phase_.on);
  append(phase_.on, phase_.off);
  append(phase_.off, i_.size());
}

void Analysis::find_plunger() {
  const double sigma = out_.noise_A / std::sqrt(static_cast<double>(2 * half_window() + 1)) * 1.5;  // of the smoothed current
  const double depth = std::max(kDip * out_.final_current_A.value, 8 * sigma);
  const auto dip = find_dip(smoothed_, phase_.on, phase_.off, depth);
  if (!dip || dip->peak < phase_.on + 3) return;
  const double peak = vertex(smoothed_, dip->peak, half_window());
  const double valley = vertex(smoothed_, dip->valley, std::max<std::size_t>(2, half_window() / 2));
  const double u = std::hypot(dt_ / std::sqrt(12.0), kSmooth_s / 4);
  out_.has_peak = out_.has_pull_in = true;
  out_.current_peak = {seconds_since(peak, phase_.on_index), smoothed_[dip->peak], u};
  out_.pull_in = {seconds_since(valley, phase_.on_index), smoothed_[dip->valley], u};
}

// y = I - i = I a exp(-k t): one amplitude, one rate; I is known from V and R.
double Analysis::loop_inductance(double final_A, double source_V, std::span<const double> t, std::span<const double> i, double k_start) const {
  std::vector<double> y(i.begin(), i.end());
  for (double& x : y) x = final_A - x;
  static const std::vector<BasisFunction> kDecay{{[](double s, double k) { return std::exp(-k * s); }, [](double s, double k) { return -s * std::exp(-k * s); }}};
  const auto fit = fit_separable(t, y, kDecay, k_start);
  if (fit.status != SeparableFit::Status::ok) return kNan;
  return (source_V / final_A) * fit.c[0] / final_A / fit.k;  // R a tau
}

void Analysis::fit_rise() {
  const double loop_ohm = out_.resistance_ohm.value + source_ohm_;
  const double final_A = source_V_ / loop_ohm;
  const auto fastest = static_cast<std::size_t>(std::max(3.0, kSkip_s / dt_));
  std::size_t from = phase_.on + fastest;
  double to_index = static_cast<double>(phase_.off);
  if (const auto reached = rises_through(smoothed_, kFitTo * final_A, phase_.on)) to_index = std::min(to_index, *reached);
  if (out_.has_peak) to_index = std::min(to_index, phase_.on_index + kFitBeforePeak * out_.current_peak.at_s / dt_);
  auto to = static_cast<std::size_t>(to_index);
  if (to < from + 12 && to > phase_.on + 14) from = to - 12;  // a fast coil at a slow rate: give the skip up in part
  if (to < from + 12) {
    out_.fit.model = "";
    return;
  }
  std::vector<double> t, y;
  for (std::size_t k = from; k < to; ++k) {
    t.push_back(seconds_since(static_cast<double>(k), phase_.on_index));
    y.push_back(final_A - i_[k]);
  }
  static const std::vector<BasisFunction> kDecay{{[](double s, double k) { return std::exp(-k * s); }, [](double s, double k) { return -s * std::exp(-k * s); }}};
  const auto fit = fit_separable(t, y, kDecay, 1 / std::max(t.back(), dt_));
  if (fit.status != SeparableFit::Status::ok || !(fit.c[0] > 0)) return;
  out_.fit = {"i = I (1 - a exp(-t/tau)), I from V and R", "", final_A, fit.c[0] / final_A, 1 / fit.k, t.front(), t.back(), std::sqrt(fit.rss / static_cast<double>(t.size())), t.size()};
  set_inductance(fit, loop_ohm, source_V_);
}

void Analysis::set_inductance(const SeparableFit& fit, double loop_ohm, double source_V) {
  const double amplitude = fit.c[0];
  const double a = out_.fit.eddy;
  const double inductance = loop_ohm * a / fit.k;
  // Noise through the fit's covariance of amplitude and rate, correlated.
  const double noise = inductance * std::sqrt(std::max(0.0, fit.covariance[0] / (amplitude * amplitude) + fit.covariance[3] / (fit.k * fit.k) -
                                                                2 * fit.covariance[1] / (amplitude * fit.k)));
  // What I is off by shifts amplitude and rate together: fit again with I moved by its u.
  std::vector<double> t, i;
  for (std::size_t k = 0; k < out_.fit.samples; ++k) {
    const double s = out_.fit.from_s + static_cast<double>(k) * dt_;
    t.push_back(s);
    i.push_back(out_.fit.at(s));
  }
  const double final_u = out_.fit.final_A * out_.resistance_ohm.u / out_.resistance_ohm.value;
  const double moved = final_u > 0 ? loop_inductance(out_.fit.final_A + final_u, source_V, t, i, fit.k) : inductance;
  const double from_final = std::isfinite(moved) ? std::abs(moved - inductance) : 0.1 * inductance;
  out_.inductance_H = {inductance, std::hypot(noise, from_final, inductance * options_.voltage_gain_u)};
  // Re/(R + Re) and L (1/R + 1/Re) of the coil alone, without the source's resistance.
  const double eddy_ohm = loop_ohm * a / std::max(1 - a, 1e-6);
  const double r = out_.resistance_ohm.value;
  out_.eddy_fraction = {eddy_ohm / (r + eddy_ohm), fit.sd[0] / out_.fit.final_A};
  out_.time_constant_s = {inductance * (1 / r + 1 / eddy_ohm), fit.sd[1] / (fit.k * fit.k)};
  out_.time_constant_s.u = std::hypot(out_.time_constant_s.u, out_.time_constant_s.value * out_.resistance_ohm.u / r);
}

// Back-EMF without a dip still slows the rise and lets it quicken again.
bool Analysis::inflected() const {
  const std::size_t half = 2 * half_window();
  const auto rate = slope(smoothed_, half);
  const std::size_t from = phase_.on + 2 * half;
  const std::size_t to = phase_.off > 2 * half ? phase_.off - 2 * half : 0;
  if (to <= from) return false;
  std::vector<double> falling(rate.begin() + static_cast<std::ptrdiff_t>(from), rate.begin() + static_cast<std::ptrdiff_t>(to));
  for (double& x : falling) x = -x;
  double lowest = -falling.front();
  double largest_rise = 0;
  for (const double x : falling) {
    lowest = std::min(lowest, -x);
    largest_rise = std::max(largest_rise, -x - lowest);
  }
  const double noise = out_.noise_A / std::pow(static_cast<double>(half), 1.5) * 3;
  return largest_rise > std::max(0.10 * -falling.front(), 4 * noise);
}

void Analysis::judge_plunger() {
  if (options_.coil_class == CoilClass::variable) {
    out_.plunger = Plunger::not_judged;
    out_.plunger_reason = "a variable-force plunger moves without a mark in the current";
  } else if (out_.has_pull_in) {
    out_.plunger = Plunger::moved;
    out_.plunger_reason = "the current dips and recovers as the plunger seats";
  } else if (out_.current_limited) {
    out_.plunger = Plunger::not_judged;
    out_.plunger_reason = "the supply's current limit hides the rise";
  } else if (inflected()) {
    out_.plunger = Plunger::not_judged;
    out_.plunger_reason = "the rise quickens once without a dip: a slow or damped plunger, or none";
  } else {
    out_.plunger = Plunger::no_motion_seen;
    out_.plunger_reason = "the current rises without dip or bend: the plunger is stuck, open or seated";
  }
}

void Analysis::find_release() {
  out_.release_s = {kNan, kNan};
  out_.clamp_V = {kNan, kNan};
  if (phase_.off >= i_.size() || i_.size() - phase_.off < 20) {
    out_.release_reason = "the capture ends before the coil is off for long enough";
    return;
  }
  const double i_off = smoothed_[phase_.off > 3 + half_window() ? phase_.off - 3 - half_window() : phase_.off];
  const auto gone = falls_through(i_, 0.2 * i_off, phase_.off);
  const std::size_t decayed = gone ? static_cast<std::size_t>(*gone) : i_.size();
  std::vector<double> clamp;
  for (std::size_t k = phase_.off + 1; k < std::max(decayed, phase_.off + 3) && k < v_.size(); ++k) clamp.push_back(-v_[k]);
  if (!clamp.empty()) {
    const double level = clamp.size() < 6 ? *std::max_element(clamp.begin(), clamp.end()) : median(clamp);
    out_.clamp_V = {level, std::hypot(options_.voltage_offset_u, options_.voltage_gain_u * level, v_noise_)};
  }
  if (decayed < phase_.off + 10) {
    out_.release_reason = "the current is gone at once, so it cannot show the plunger's return";
    return;
  }
  // The returning plunger generates: the current falls, rises to a small
  // maximum at the end of travel, falls again. Upside down that is a dip.
  const std::size_t from = std::min(phase_.off + static_cast<std::size_t>(kSkip_s / dt_) + 2, i_.size() - 1);
  std::vector<double> mirrored(smoothed_.begin() + static_cast<std::ptrdiff_t>(from), smoothed_.end());
  for (double& x : mirrored) x = -x;
  const double depth = std::max(0.001 * i_off, 5 * out_.noise_A / std::sqrt(static_cast<double>(2 * half_window() + 1)));
  const auto bump = find_dip(mirrored, 0, mirrored.size(), depth);
  if (!bump) {
    out_.release_reason = "no mark of the returning plunger in the decaying current";
    return;
  }
  const double back = vertex(mirrored, bump->valley, half_window()) + static_cast<double>(from);
  out_.release_s = {seconds_since(back, phase_.off_index), std::hypot(dt_ / std::sqrt(12.0), kSmooth_s / 2)};
}

void Analysis::integrate_flux() {
  const double r = out_.resistance_ohm.value;
  double sum = 0;
  for (std::size_t k = phase_.on; k < phase_.off; ++k) sum += (v_[k] - r * i_[k]) * dt_;
  const double length_s = static_cast<double>(phase_.off - phase_.on) * dt_;
  // R was chosen so that the settled part adds nothing; an error of R there
  // drifts over the whole pulse.
  const double drift = length_s * std::hypot(options_.voltage_offset_u, r * i_offset_u_, v_noise_ / std::sqrt(length_s / dt_));
  const double noise_r = out_.noise_A / std::sqrt(0.18 * length_s / dt_) * r * length_s;
  out_.flux_linkage_Vs = {sum, std::hypot(drift, noise_r)};
}

}  // namespace

double Fit::at(double s_from_onset) const { return final_A * (1 - eddy * std::exp(-s_from_onset / tau_s)); }

std::string_view text_of(Status status) {
  switch (status) {
    case Status::ok:
      return "";
    case Status::not_finite:
      return "a sample is not a number";
    case Status::too_short:
      return "too short: the current has not settled before the end of the pulse";
    case Status::no_step:
      return "no switch-on seen";
    case Status::slow_step:
      return "the voltage rises too slowly or in several steps: the switch must close within 0.3 ms";
    case Status::no_current:
      return "voltage was applied and no current flowed: the circuit is open";
    case Status::wrong_polarity:
      return "voltage or current is negative: check the leads and the probe's direction";
    case Status::clipped:
      return "clipped: the signal went beyond the range of the instrument";
    case Status::two_steps:
      return "switched on more than once in this capture: keep one pulse";
    case Status::no_voltage:
      return "no voltage channel and no supply voltage given";
  }
  return "";
}

std::string_view name_of(Plunger plunger) {
  switch (plunger) {
    case Plunger::moved:
      return "moved";
    case Plunger::no_motion_seen:
      return "no-motion-seen";
    case Plunger::not_judged:
      break;
  }
  return "not-judged";
}

CoilFigures analyse(const Capture& capture, const AnalysisOptions& options) { return Analysis(capture, options).run(); }

}  // namespace pinproof::waveform
