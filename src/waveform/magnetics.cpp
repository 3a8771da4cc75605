#include "waveform/magnetics.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "waveform/prepared.h"
#include "waveform/settled.h"
#include "waveform/signal.h"
#include "waveform/travel.h"

namespace pinproof::waveform {
namespace {

constexpr double kLoopStep = 0.005;  // of the loop's size, from point to point
constexpr double kComesDown = 0.15;  // of the linkage, after the decay
constexpr double kLevels = 8;        // stretches of the current that a slope is taken over
constexpr double kLeastRise = 0.02;  // of the final current: shorter stretches tell nothing
constexpr std::size_t kFewest = 8;
constexpr double kEdge_s = 0.1e-3;
constexpr double kLeakage = 0.03;  // of the work: flux that the plunger does not close

class Loop {
 public:
  Loop(const Prepared& p, const CoilFigures& f, const TravelTrace& trace)
      : p_(p),
        f_(f),
        trace_(trace),
        half_(p.samples_in(0.05e-3, 1)),
        amps_(smooth(trace.magnetising_A, half_)) {}

  Magnetics run() const {
    Magnetics out;
    fill_loop(out);
    fill_slopes(out);
    fill_energies(out);
    const std::size_t last = trace_.linkage_Vs.size() - 1;
    if (p_.has_off()) {
      const double decayed = std::abs(p_.current_A[p_.size() - 1]);
      if (decayed < 0.01 * f_.final_current_A.value && decay_seen())
        out.drift_Vs = {trace_.linkage_Vs[last], trace_.linkage_u_Vs[last]};
    }
    return out;
  }

 private:
  std::size_t on_samples() const { return p_.off - p_.on; }
  std::size_t at(double s_from_onset) const {
    const double index = p_.on_index + s_from_onset / p_.interval_s - static_cast<double>(p_.on);
    return static_cast<std::size_t>(std::clamp(index, 0.0, static_cast<double>(on_samples()) - 1));
  }
  void fill_loop(Magnetics& out) const;
  bool decay_seen() const;
  void fill_slopes(Magnetics& out) const;
  std::vector<IncrementalInductance> slopes(std::size_t from, std::size_t to) const;
  void fill_energies(Magnetics& out) const;
  // integral of i dlambda over a stretch, and what its linkage's u makes of it.
  Estimate area(std::size_t from, std::size_t to) const;

  const Prepared& p_;
  const CoilFigures& f_;
  const TravelTrace& trace_;
  std::size_t half_;
  std::vector<double> amps_;
};

// Whether the current after switch-off is the coil's: a shunt in the supply's lead
// does not see what circles through a diode in the pack, and the linkage then
// never comes down.
bool Loop::decay_seen() const {
  if (!p_.has_off()) return false;
  const double highest = *std::max_element(trace_.linkage_Vs.begin(), trace_.linkage_Vs.end());
  return std::abs(trace_.linkage_Vs.back()) < kComesDown * highest;
}

// Equal steps of the linkage's path, so that fast and slow parts show alike. At
// the edges themselves the eddy path's share is not known.
void Loop::fill_loop(Magnetics& out) const {
  const auto volts = smooth(trace_.linkage_Vs, half_);
  const double whole_A = std::max(1e-9, f_.final_current_A.value);
  const double whole_Vs = std::max(1e-12, *std::max_element(volts.begin(), volts.end()));
  const std::size_t edge = p_.samples_in(kEdge_s, 2) + half_;
  const auto step = [&](std::size_t k) {
    return std::hypot((amps_[k] - amps_[k - 1]) / whole_A, (volts[k] - volts[k - 1]) / whole_Vs);
  };
  const auto take = [&](std::size_t from, std::size_t to) {
    double path = 0, next = 0;
    for (std::size_t k = from; k < to; ++k) {
      if (k > from) path += step(k);
      if (path < next) continue;
      next = path + kLoopStep;
      out.loop.push_back(
          {p_.seconds(static_cast<double>(p_.on + k), p_.on_index), amps_[k], volts[k],
           k < trace_.share.size() ? trace_.share[k] : std::numeric_limits<double>::quiet_NaN()});
    }
  };
  take(edge, on_samples() - std::min(on_samples(), half_ + 2));
  if (decay_seen()) take(on_samples() + edge, volts.size());
}

std::vector<IncrementalInductance> Loop::slopes(std::size_t from, std::size_t to) const {
  std::vector<IncrementalInductance> out;
  if (to < from + kFewest) return out;
  const double low = amps_[from], high = amps_[to - 1];
  const double rise = std::max((high - low) / kLevels, kLeastRise * f_.final_current_A.value);
  for (std::size_t start = from; start + kFewest < to;) {
    std::size_t end = start + kFewest;
    while (end < to && amps_[end] < amps_[start] + rise) ++end;
    if (end >= to && amps_[to - 1] < amps_[start] + rise / 2) break;
    double n = 0, si = 0, sl = 0, sii = 0, sil = 0, sll = 0;
    for (std::size_t k = start; k < std::min(end, to); ++k) {
      const double i = amps_[k], l = trace_.linkage_Vs[k];
      n += 1, si += i, sl += l, sii += i * i, sil += i * l, sll += l * l;
    }
    const double spread = sii - si * si / n;
    if (spread > 0) {
      const double slope = (sil - si * sl / n) / spread;
      const double rest = std::max(0.0, sll - sl * sl / n - slope * slope * spread);
      // R off by u bends the linkage by u times the charge in between.
      const double charge = si * p_.interval_s;
      const double bent = f_.resistance_ohm.u * charge / (rise > 0 ? rise : 1);
      out.push_back({si / n, {slope, std::hypot(std::sqrt(rest / (n - 2) / spread), bent)}});
    }
    start = end;
  }
  return out;
}

void Loop::fill_slopes(Magnetics& out) const {
  const std::size_t begin = f_.travel_begin ? at(f_.travel_begin->at_s) : at(f_.fit.to_s);
  out.at_rest = slopes(at(f_.fit.from_s), begin);
  if (f_.pull_in) out.seated = slopes(at(f_.pull_in->at_s) + 2 * half_ + 1, on_samples());
}

Estimate Loop::area(std::size_t from, std::size_t to) const {
  Estimate out{0, 0};
  for (std::size_t k = from + 1; k < to; ++k)
    out.value += (amps_[k] + amps_[k - 1]) / 2 * (trace_.linkage_Vs[k] - trace_.linkage_Vs[k - 1]);
  out.u = std::abs(amps_[to - 1]) *
          std::hypot(trace_.linkage_u_Vs[to - 1],
                     trace_.linkage_Vs[to - 1] * f_.eddy_fraction.u / f_.eddy_fraction.value);
  return out;
}

void Loop::fill_energies(Magnetics& out) const {
  const std::size_t end = on_samples();
  const Estimate whole = area(0, end);
  if (f_.plunger == Plunger::no_motion_seen) {
    out.field_energy_J = whole;
    return;
  }
  if (!f_.pull_in) return;
  const std::size_t seat = at(f_.pull_in->at_s);
  const Estimate into = area(0, seat + 1);
  const double left = amps_[seat] * trace_.linkage_Vs[seat] / 2;
  const double left_u = amps_[seat] * trace_.linkage_u_Vs[seat] / 2 +
                        p_.current_noise_A * trace_.linkage_Vs[seat] / 2 /
                            std::sqrt(static_cast<double>(2 * half_ + 1));
  // Seating is known to a few samples: what the field takes up meanwhile.
  const double rate = p_.on_voltage()[seat] * amps_[seat] * f_.pull_in->u_s / 4;
  const double work = into.value - left;
  out.stroke_work_J = {work, std::hypot(std::hypot(into.u / 2, left_u, rate), kLeakage * work)};
  out.field_energy_J = {whole.value - out.stroke_work_J.value,
                        std::hypot(whole.u, out.stroke_work_J.u)};
}

}  // namespace

Magnetics magnetics_of(const Capture& capture, const AnalysisOptions& options,
                       const CoilFigures& figures) {
  Magnetics out;
  out.reason = figures.fit.reason;
  if (figures.status != Status::ok || figures.fit.model.empty()) return out;
  const Prepared p = prepare(capture, options);
  if (p.status != Status::ok) return out;
  SettledCurrent settled = settle(p, options);
  settled.resistance_ohm = figures.resistance_ohm.value;
  RestFit rest;
  rest.inductance_H = figures.inductance_H;
  rest.tau_s = figures.time_constant_s;
  rest.eddy = figures.eddy_fraction;
  return Loop(p, figures, trace_travel(p, settled, rest)).run();
}

}  // namespace pinproof::waveform
