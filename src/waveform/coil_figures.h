// What one on/off capture says about a coil and its plunger. Pure.
//
// Model of the rise before the plunger moves, for a coil of resistance R with
// an eddy path seen as a resistance Re parallel to its inductance L:
//   i(t) = I (1 - a exp(-t/tau)),  I = V/R,  a = Re/(R + Re),  tau = L (1/R + 1/Re)
// so L = tau R a (L = tau R overestimates). Solving the circuit gives it
// directly; the fast jump I (1 - a) at the start is the eddy path's current.
#pragma once

#include <string>
#include <vector>

#include "quantity/quantity.h"
#include "waveform/capture.h"

namespace pinproof::waveform {

enum class CoilClass { on_off, variable };

struct AnalysisOptions {
  CoilClass coil_class = CoilClass::on_off;
  double supply_V = 0;           ///< stands in for a missing voltage channel; 0 without
  double voltage_gain_u = 0;     ///< relative standard uncertainty
  double voltage_offset_u = 0;   ///< V
  double current_gain_u = 0;     ///< relative, shunt included
  double current_offset_u = 0;   ///< A
  double clip_A = 0;             ///< end of the digitiser's range, 0 unknown
  double clip_V = 0;
};

/// Why there are no figures, or fewer. A capture that cannot be read is a
/// result: the coil or the capture is bad, nothing is thrown.
enum class Status {
  ok,
  not_finite,      ///< a sample that is not a number
  too_short,       ///< fewer than 50 samples, or the current has not settled
  no_step,         ///< no switch-on seen
  no_current,      ///< voltage was applied and no current flowed: open
  wrong_polarity,  ///< negative voltage or current
  clipped,         ///< beyond the digitiser's range
  two_steps,       ///< switched on more than once
  no_voltage       ///< no voltage channel and no supply_V
};
std::string_view text_of(Status status);

enum class Plunger { moved, no_motion_seen, not_judged };
std::string_view name_of(Plunger plunger);  ///< "moved", "no-motion-seen", "not-judged"

struct Event {
  double at_s = 0;       ///< from the onset (peak, pull-in)
  double current_A = 0;
  double u_s = 0;        ///< standard uncertainty of at_s
};

struct Fit {
  std::string model;              ///< in words; empty when there is none
  double final_A = 0;             ///< I
  double eddy = 0;                ///< a of the whole loop, supply resistance included
  double tau_s = 0;               ///< of the whole loop
  double from_s = 0, to_s = 0;    ///< window, from the onset
  double residual_rms_A = 0;
  std::size_t samples = 0;

  double at(double s_from_onset) const;  ///< the fitted current
};

struct CoilFigures {
  Status status = Status::too_short;
  Estimate resistance_ohm;
  Estimate inductance_H;
  Estimate time_constant_s;     ///< tau of the coil alone
  Estimate eddy_fraction;       ///< 1 - a would be the fast jump; this is a
  Estimate final_current_A;
  Estimate flux_linkage_Vs;     ///< integral of v - R i over the on phase
  Estimate rise_time_s;         ///< 10 to 90 % of the final current
  double onset_s = 0;           ///< in the capture's time
  double off_s = 0;             ///< NaN when the capture ends before it
  bool has_peak = false;
  Event current_peak;           ///< before the dip
  bool has_pull_in = false;
  Event pull_in;                ///< the seating valley
  Estimate release_s;           ///< from switch-off to the plunger's return; NaN where not seen
  std::string release_reason;   ///< why not
  Estimate clamp_V;             ///< magnitude across the coil while its current decays
  Plunger plunger = Plunger::not_judged;
  std::string plunger_reason;
  bool current_limited = false; ///< the supply gave less than its voltage at the end
  double noise_A = 0;           ///< standard deviation of one current sample
  Fit fit;
};

CoilFigures analyse(const Capture& capture, const AnalysisOptions& options);

}  // namespace pinproof::waveform
