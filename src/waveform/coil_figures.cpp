#include "waveform/coil_figures.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "quantity/text.h"
#include "waveform/disturbed.h"
#include "waveform/exponentials.h"
#include "waveform/plunger.h"
#include "waveform/prepared.h"
#include "waveform/release.h"
#include "waveform/rest_model.h"
#include "waveform/settled.h"
#include "waveform/signal.h"
#include "waveform/travel.h"
#include "waveform/whole_pulse.h"

namespace pinproof::waveform {
namespace {

// No solenoid of these packs is below (common practice, no source).
constexpr double kShort_ohm = 1;
constexpr double kFitBeforePeak = 0.55;  // of the time to the peak: travel begins before it

constexpr double kStillRising = 0.10;  // of the final current: more is not settled
constexpr double kRiseShare = 0.35;    // of the pulse: longest rise to 90 % where no fit can tell

// Words and numbers in the order in which they become known.
class Analysis {
 public:
  Analysis(const Capture& capture, const AnalysisOptions& options)
      : capture_(capture), options_(options), p_(prepare(capture, options)) {}

  CoilFigures run() {
    out_.status = p_.status;
    out_.noise_A = p_.current_noise_A;
    if (disturbed()) return out_;
    const bool resistance_only = p_.status == Status::slow_step || p_.status == Status::late_start;
    if (p_.status != Status::ok && !resistance_only) return out_;
    take_phases();
    take_settled();
    if (settled_.status == Status::too_short) take_unsettled_dip();
    if (out_.status != Status::ok) return out_;
    take_dip();
    take_rest();
    if (!long_enough()) return only_dip();
    take_rise();
    take_flux();
    take_release();
    take_source();
    take_hum();
    return out_;
  }

 private:
  bool disturbed();
  void take_interruption();
  void take_phases();
  void take_settled();
  void take_findings();
  void take_dip();
  void take_unsettled_dip();
  bool long_enough() const;
  bool shorted() const;
  CoilFigures only_dip();
  void take_rest();
  void take_whole(RestFit& rest);
  std::size_t exponentials_seen(const RestFit& rest) const;
  void take_travel(const RestFit& rest);
  void refit_before_travel(RestFit& rest);
  void take_rise();
  void take_flux();
  void take_release();
  void take_source();
  void take_hum();

  const Capture& capture_;
  const AnalysisOptions& options_;
  Prepared p_;
  SettledCurrent settled_;
  std::optional<SeatingDip> dip_;
  Estimate return_;  // of the plunger, by its travel
  CoilFigures out_;
};

// Not where there is a plainer reason: leads exchanged, beyond the range, no pulse at all.
bool Analysis::disturbed() {
  for (const Status plain : {Status::not_finite, Status::no_voltage, Status::no_step,
                             Status::clipped, Status::wrong_polarity, Status::swapped})
    if (p_.status == plain) return false;
  if (!fault_in(capture_).empty()) return false;
  // Where no current flows there is none to jump.
  if (p_.status == Status::ok && settle(p_, options_).status == Status::no_current) return false;
  const auto seen = find_disturbance(capture_);
  if (!seen) {
    take_interruption();
    return false;
  }
  out_.status = Status::disturbed;
  out_.disturbance = out_.fit.reason = text_of(*seen);
  out_.findings.push_back(
      {"capture-disturbed",
       out_.disturbance,
       0,
       {},
       "Capture it again; see to the leads, the link and what switches nearby."});
  return true;
}

void Analysis::take_interruption() {
  const auto broke_off = find_interruption(capture_);
  if (!broke_off) return;
  out_.broke_off_s = *broke_off;
  out_.findings.push_back(
      {"coil-open",
       "the current broke off at " + format_si(*broke_off, Unit::second, 3) +
           " and came back while the voltage stood: an open that comes and goes",
       0,
       {},
       {}});
}

void Analysis::take_phases() {
  const bool known = p_.status != Status::late_start;
  out_.onset_s =
      known ? p_.start_s + p_.on_index * p_.interval_s : std::numeric_limits<double>::quiet_NaN();
  out_.onset_u_s = p_.on_u_s;
  out_.off_s = p_.start_s + p_.off_index * p_.interval_s;
}

void Analysis::take_settled() {
  settled_ = settle(p_, options_);
  if (settled_.status != Status::ok) {
    out_.status = settled_.status;
    if (settled_.status == Status::no_current)
      out_.findings.push_back({"coil-open", std::string(text_of(Status::no_current)), 0, {}, {}});
    return;
  }
  const double gain = std::hypot(options_.voltage_gain_u, options_.current_gain_u);
  const double r = settled_.resistance_ohm;
  out_.resistance_ohm = {r, std::hypot(settled_.noise_u, r * gain)};
  out_.final_current_A = {
      settled_.current_A,
      std::hypot(settled_.current_u, settled_.current_A * options_.current_gain_u)};
  out_.current_limited = settled_.current_limited;
  take_findings();
}

void Analysis::take_findings() {
  const double r = settled_.resistance_ohm;
  if (r + 2 * out_.resistance_ohm.u < kShort_ohm)
    out_.findings.push_back({"coil-shorted",
                             "the coil draws its current at " + format_si(r, Unit::ohm, 3) +
                                 ": shorted, or its suppression diode is shorted or reversed",
                             0,
                             {},
                             {}});
  if (settled_.current_limited)
    out_.findings.push_back({"supply-current-limit",
                             "the supply's current limit holds the current at " +
                                 format_si(settled_.current_A, Unit::ampere, 3) +
                                 ", below what its voltage would drive",
                             0,
                             {},
                             {}});
}

// A ring of nearly all turns: what is left is no coil, and its times mean nothing.
bool Analysis::shorted() const {
  return settled_.resistance_ohm + 2 * settled_.noise_u < kShort_ohm;
}

void Analysis::take_dip() {
  if (shorted()) return;
  dip_ = find_seating(p_, settled_);
  if (!dip_) return;
  const auto& dip = dip_;
  const auto u = [&](double own) { return std::hypot(own, p_.on_u_s); };
  out_.current_peak =
      CurrentEvent{p_.seconds(dip->peak, p_.on_index), dip->peak_A, u(dip->peak_u_s)};
  out_.pull_in =
      CurrentEvent{p_.seconds(dip->valley, p_.on_index), dip->valley_A, u(dip->valley_u_s)};
}

// A dip needs no settled current: bounds of R and I are enough to see one.
void Analysis::take_unsettled_dip() {
  if (p_.status != Status::ok || !(settled_.current_A > 0)) return;
  take_dip();
  if (options_.coil_class == PlungerAction::on_off && out_.pull_in) {
    const auto judged = judge_plunger(out_, options_.coil_class);
    out_.plunger = judged.plunger;
    out_.plunger_reason = judged.reason;
  } else {
    out_.plunger_reason = text_of(Status::too_short);
  }
}

// A back-EMF can flatten a current that is far from settled. It cannot settle
// faster than the resting coil's: where that would still be on its way, the
// flat end is none. Without a fit the rise itself must have been short.
bool Analysis::long_enough() const {
  const double middle = static_cast<double>(settled_.from + p_.off) / 2;
  const double since = p_.seconds(middle, p_.on_index);
  if (!out_.fit.model.empty())
    return out_.fit.eddy * std::exp(-since / out_.fit.tau_s) < kStillRising;
  const auto current = smooth(p_.on_current(), p_.samples_in(0.1e-3, 2));
  const auto high = rises_through(current, 0.9 * settled_.current_A, 1);
  return !high || *high * p_.interval_s < kRiseShare * since;
}

CoilFigures Analysis::only_dip() {
  out_ = {};
  out_.status = Status::too_short;
  out_.noise_A = p_.current_noise_A;
  take_interruption();
  take_phases();
  take_unsettled_dip();
  return out_;
}

void Analysis::take_rest() {
  double before = static_cast<double>(settled_.from);
  if (out_.current_peak)
    before = p_.on_index + kFitBeforePeak * out_.current_peak->at_s / p_.interval_s;
  RestFit rest = fit_rest(p_, settled_, options_, before);
  if (!out_.current_peak) take_whole(rest);
  if (rest.found() && !shorted()) {
    take_travel(rest);
    refit_before_travel(rest);
  }
  out_.fit.reason = rest.reason;
  if (rest.found()) {
    out_.inductance_H = rest.inductance_H;
    out_.time_constant_s = rest.tau_s;
    out_.eddy_fraction = rest.eddy;
    out_.inductance_growth = inductance_growth(p_, settled_, rest);
    out_.fit = {"i = I (1 - a exp(-t/tau)) under the measured voltage, I = V/R",
                "",
                settled_.current_A,
                rest.eddy.value,
                rest.tau_s.value,
                rest.from_s,
                rest.to_s,
                rest.residual_rms_A,
                rest.samples,
                exponentials_seen(rest)};
  }
  const auto judged = judge_plunger(out_, options_.coil_class);
  out_.plunger = judged.plunger;
  out_.plunger_reason = judged.reason;
}

// Where the plunger's motion bends nothing, the whole pulse is one model.
void Analysis::take_whole(RestFit& rest) {
  const WholeFit whole = fit_whole(p_, settled_, rest, options_);
  if (!whole.holds) return;
  rest = whole.rest;
  out_.resistance_ohm = whole.resistance_ohm;
  out_.final_current_A = whole.current_A;
  const double gain = std::hypot(options_.voltage_gain_u, options_.current_gain_u);
  settled_.resistance_ohm = whole.resistance_ohm.value;
  settled_.noise_u = std::sqrt(std::max(
      0.0, std::pow(whole.resistance_ohm.u, 2) - std::pow(gain * settled_.resistance_ohm, 2)));
  settled_.current_A = whole.current_A.value;
}

// The first stretch ends where its residuals tell the motion, which is later than
// it began: once that is known, the fit keeps off it.
void Analysis::refit_before_travel(RestFit& rest) {
  if (!out_.travel_begin) return;
  const double until_s = out_.travel_begin->at_s - 2 * out_.travel_begin->u_s;
  if (rest.to_s < until_s) return;
  const RestFit shorter = fit_rest(p_, settled_, options_, p_.on_index + until_s / p_.interval_s);
  if (!shorter.found() || shorter.inductance_H.u > 3 * rest.inductance_H.u) return;
  rest = shorter;
  take_travel(rest);
}

std::size_t Analysis::exponentials_seen(const RestFit& rest) const {
  const auto at = [&](double s) {
    const double index = p_.on_index + s / p_.interval_s;
    return std::min(static_cast<std::size_t>(std::max(0.0, index)), p_.off);
  };
  const std::size_t from = at(rest.from_s), to = std::max(at(rest.to_s), from);
  return exponentials_in_evidence(std::span(p_.current_A).subspan(from, to - from), p_.interval_s);
}

void Analysis::take_travel(const RestFit& rest) {
  const Estimate growth = inductance_growth(p_, settled_, rest);
  const TravelTrace trace = trace_travel(p_, settled_, rest);
  const Travel travel = find_travel(p_, rest, trace, dip_, growth);
  out_.travel_begin = travel.begin;
  if (travel.begin) {
    const double begin_A = travel.begin->current_A;
    out_.begin_current_A = {begin_A,
                            std::hypot(travel.begin_u_A, options_.current_gain_u * begin_A)};
    out_.needed_current_A = {travel.need_A,
                             std::hypot(travel.need_u_A, options_.current_gain_u * travel.need_A)};
  }
  out_.travel_end = travel.end;
  out_.stroke_share = travel.stroke_share;
  if (dip_) return_ = find_return(p_, rest, trace, out_.stroke_share);
  out_.bounces = travel.bounces;
}

void Analysis::take_rise() {
  const auto current = smooth(p_.on_current(), p_.samples_in(0.1e-3, 2));
  const auto low = rises_through(current, 0.1 * settled_.current_A, 1);
  const auto high = rises_through(current, 0.9 * settled_.current_A, 1);
  if (!high) return;
  // The eddy path can carry the first tenth at once.
  const double from = low.value_or(0);
  const std::size_t at = static_cast<std::size_t>(*high);
  const double rate =
      (current[std::min(at + 3, current.size() - 1)] - current[at > 3 ? at - 3 : 0]) / 6;
  const double noise = rate > 0 ? p_.current_noise_A * 0.5 / rate : 0;
  out_.rise_time_s = {(*high - from) * p_.interval_s, p_.interval_s * std::hypot(0.41, noise)};
}

// v = V0 - R_s i over the on phase, behind the edge.
void Analysis::take_source() {
  if (!p_.voltage_measured || out_.current_limited) return;
  const std::size_t half = p_.samples_in(0.1e-3, 2);
  const auto amps = smooth(p_.on_current(), half);
  double n = 0, si = 0, sv = 0, sii = 0, siv = 0, svv = 0;
  for (std::size_t k = 2 * half + 1; k + half < amps.size(); ++k) {
    const double i = amps[k], v = p_.on_voltage()[k];
    n += 1, si += i, sv += v, sii += i * i, siv += i * v, svv += v * v;
  }
  out_.supply_V = settled_.voltage_V;
  const double spread = sii - si * si / n;
  if (!(n > 10 && spread > 0)) return;
  const double slope = (siv - si * sv / n) / spread;
  const double rest = std::max(0.0, svv - sv * sv / n - slope * slope * spread);
  out_.source_ohm = {-slope, p_.voltage_colour * std::sqrt(rest / (n - 2) / spread)};
}

// What a tail of one exponential leaves of the last half of the pulse.
void Analysis::take_hum() {
  const std::size_t from = p_.on + (p_.off - p_.on) / 2;
  std::vector<double> tail(p_.current_A.begin() + static_cast<std::ptrdiff_t>(from),
                           p_.current_A.begin() + static_cast<std::ptrdiff_t>(p_.off) - 2);
  const auto fit = fit_exponentials(tail, p_.interval_s, 1);
  const bool decays = fit.status == FitStatus::ok;
  const double middle = mean_of(tail);
  for (std::size_t k = 0; k < tail.size(); ++k)
    tail[k] -= decays ? fit.at(static_cast<double>(k) * p_.interval_s) : middle;
  out_.hum = find_hum(tail, p_.interval_s);
}

void Analysis::take_flux() { out_.flux_linkage_Vs = flux_linkage(p_, settled_, options_); }

void Analysis::take_release() {
  const auto release = find_release(p_, options_);
  out_.release_s = release.release_s;
  out_.release_reason = release.reason;
  if (return_.usable() && (!release.release_s.usable() || return_.u < release.release_s.u)) {
    out_.release_s = return_;
    out_.release_reason = "the travel read from flux and current comes back to nothing";
  }
  out_.clamp_V = release.clamp_V;
  out_.suppression = release.suppression;
}

}  // namespace

double StationaryFit::at(double s_from_onset) const {
  return final_A * (1 - eddy * std::exp(-s_from_onset / tau_s));
}

CoilFigures analyse(const Capture& capture, const AnalysisOptions& options) {
  return Analysis(capture, options).run();
}

RestCurrent rest_current(const Capture& capture, const AnalysisOptions& options,
                         const CoilFigures& figures) {
  RestCurrent out;
  if (figures.fit.model.empty()) return out;
  const Prepared p = prepare(capture, options);
  if (p.status != Status::ok) return out;
  const std::size_t first = p.on > 3 ? p.on - 3 : 0;
  const auto volts = std::span(p.voltage_V).subspan(first, p.off - first);
  std::vector<double> high(p.off - p.on), unused(high.size());
  high_pass(volts, p.interval_s, 1 / figures.fit.tau_s, p.on - first, high, unused);
  out.first = p.on;
  for (std::size_t k = 0; k < high.size(); ++k)
    out.current_A.push_back((p.voltage_V[p.on + k] - figures.fit.eddy * high[k]) /
                            figures.resistance_ohm.value);
  return out;
}

}  // namespace pinproof::waveform
