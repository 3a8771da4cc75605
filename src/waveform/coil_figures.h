// What one on/off capture says about a coil and its plunger. Pure.
//
// While the plunger rests, a coil of resistance R with an eddy path, seen as a
// resistance Re parallel to its inductance L, answers a voltage step V by
//   i(t) = I (1 - a exp(-t/tau)),  I = V/R,  a = Re/(R + Re),  tau = L (1/R + 1/Re)
// (circuit theory), so L = tau R a, and tau R overestimates L. The measured
// voltage takes the step's place, since no supply is stiff: with LP(v) the
// voltage behind a first-order low-pass of time constant tau,
//   R i(t) = v(t) - a (v(t) - LP(v)(t)),
// which is the line above when v is a step. Only tau enters nonlinearly.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantity/quantity.h"
#include "waveform/capture.h"
#include "waveform/residuals.h"

namespace pinproof::waveform {

enum class PlungerAction { on_off, variable };

struct AnalysisOptions {
  PlungerAction coil_class = PlungerAction::on_off;
  double supply_V = 0;          ///< stands in for a missing voltage channel; 0 without
  double limit_A = 0;           ///< the supply's current limit; 0 unknown
  double voltage_gain_u = 0;    ///< relative standard uncertainty
  double voltage_offset_u = 0;  ///< V
  double current_gain_u = 0;    ///< relative, shunt included
  double current_offset_u = 0;  ///< A
  double clip_A = 0;            ///< end of the digitiser's range, 0 unknown
  double clip_V = 0;
};

/// Why there are no figures, or fewer. A capture that says nothing is a
/// result: the coil or the capture is bad, nothing is thrown.
enum class Status {
  ok,
  not_finite,      ///< a sample that is not a number
  too_short,       ///< too few samples, or the current has not settled; a dip is seen all the same
  no_step,         ///< no switch-on seen
  slow_step,       ///< the voltage rises too slowly or in several steps; R only
  late_start,      ///< on at the first sample already; R only
  no_current,      ///< voltage was applied and no current flowed: open
  wrong_polarity,  ///< negative voltage or current
  clipped,         ///< beyond the digitiser's range
  two_steps,       ///< switched on more than once
  swapped,         ///< the current is there before the voltage: the columns are exchanged
  no_voltage,      ///< no voltage channel and no supply_V
  disturbed        ///< samples lost or sent twice, or a burst of noise: the bench's doing
};
std::string_view text_of(Status status);  ///< a clause for people; "" for ok

enum class Plunger { moved, no_motion_seen, not_judged };
std::string_view name_of(Plunger plunger);  ///< "moved", "no-motion-seen", "not-judged"

/// What takes over the coil current after switch-off.
enum class SeenSuppression {
  not_judged,
  diode,  ///< freewheel: the coil voltage reverses by a diode's drop
  zener,  ///< clamped at some volts
  none    ///< more than kUnclamped_V: only the switch itself ends it
};
std::string_view name_of(SeenSuppression suppression);  ///< "not-judged", "diode", "zener", "none"

/// Above this a decay counts as unclamped (common practice, no source: clamps
/// of coil drivers are below, avalanche of the switch is above).
inline constexpr double kUnclamped_V = 60;

struct CurrentEvent {
  double at_s = 0;  ///< from the onset
  double current_A = 0;
  double u_s = 0;  ///< standard uncertainty of at_s
};

/// The stationary model as fitted before the plunger moves.
struct StationaryFit {
  std::string model;   ///< in words; empty when no fit could be made
  std::string reason;  ///< why not
  double final_A = 0;  ///< I: voltage at the end of the pulse over R
  double eddy = 0;     ///< a
  double tau_s = 0;
  double from_s = 0, to_s = 0;  ///< window, from the onset
  double residual_rms_A = 0;
  std::size_t samples = 0;
  std::size_t exponentials =
      0;  ///< that the window gives evidence for: 1, or 2 where flux diffuses

  /// The fitted current under a perfect step to final_A.
  double at(double s_from_onset) const;
};

/// A plain finding, seen without a profile.
struct CoilFinding {
  std::string kind;  ///< "coil-open", "coil-shorted", "supply-current-limit",
                     ///< "capture-disturbed", "mains-hum"; causes.h
  std::string text;
  double probability = 0;           ///< among the causes considered; 0: seen, not weighed
  std::vector<std::string> rivals;  ///< what explains it nearly as well
  std::string advice;
  double good_unit = 1;  ///< probability that nothing is wrong; 1 where it was not weighed
};

struct CoilFigures {
  Status status = Status::too_short;
  std::string disturbance;  ///< of disturbed: what was seen, and when
  /// In the capture's time: where the current fell to nought, while the voltage
  /// stood, and came back; NaN where it did not. An open that comes and goes.
  double broke_off_s = std::numeric_limits<double>::quiet_NaN();
  Estimate resistance_ohm;
  Estimate inductance_H;     ///< at rest, before the plunger moves
  Estimate time_constant_s;  ///< tau of the coil alone
  Estimate eddy_fraction;    ///< a; the current jumps by I (1 - a) at the start
  Estimate final_current_A;
  Estimate flux_linkage_Vs;    ///< integral of v - R i until the current has settled
  Estimate rise_time_s;        ///< 10 to 90 % of the final current
  Estimate inductance_growth;  ///< largest flux linkage over L i: 1 at rest, above when the plunger
                               ///< moved
  double onset_s = 0;          ///< in the capture's time
  double onset_u_s = 0;
  double off_s = 0;  ///< in the capture's time; NaN when the capture ends before it
  std::optional<CurrentEvent> current_peak;  ///< before the dip
  std::optional<CurrentEvent>
      travel_begin;  ///< 2 % of the travel; its current is the magnetising one
  std::optional<CurrentEvent> travel_end;  ///< of a plunger that makes no dip: 95 % of its travel
  Estimate stroke_share;                   ///< travel over the gap at rest; NaN where not seen
  Estimate begin_current_A;                ///< magnetising, at the begin of travel
  Estimate needed_current_A;               ///< what frees the plunger from rest; NaN where not seen
  int bounces = 0;                         ///< further dips after seating
  std::optional<CurrentEvent> pull_in;     ///< the seating valley
  Estimate release_s;          ///< from switch-off to the plunger's return; NaN where not seen
  std::string release_reason;  ///< how it was seen, or why not
  Estimate clamp_V;  ///< magnitude across the coil while its current decays; NaN where not seen
  SeenSuppression suppression = SeenSuppression::not_judged;
  Plunger plunger = Plunger::not_judged;
  std::string plunger_reason;
  double supply_V = 0;           ///< across the coil at the end of the pulse; 0 where not measured
  Estimate source_ohm;           ///< by how much it falls with the current: supply, leads and shunt
  Hum hum;                       ///< in the settled current
  bool current_limited = false;  ///< the supply gave way before its voltage was reached
  double noise_A = 0;            ///< standard deviation of one current sample
  StationaryFit fit;
  std::vector<CoilFinding> findings;
};

CoilFigures analyse(const Capture& capture, const AnalysisOptions& options);

/// The current this coil would have carried with its plunger at rest, under the
/// measured voltage: one value a sample from the onset to the switch-off, the
/// first at index `first`. Empty when there is no fit.
struct RestCurrent {
  std::size_t first = 0;
  std::vector<double> current_A;
};
RestCurrent rest_current(const Capture& capture, const AnalysisOptions& options,
                         const CoilFigures& figures);

}  // namespace pinproof::waveform
