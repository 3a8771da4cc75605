// A coil driven by pulse-width modulation: current and ripple against duty,
// hysteresis between the way up and the way down, dither. Pure.
#pragma once

#include <string>
#include <vector>

#include "quantity/quantity.h"
#include "waveform/capture.h"

namespace pinproof::waveform {

/// One stretch of equal duty, its settling left out.
struct DutyLevel {
  double from_s = 0, to_s = 0;  ///< in the capture's time
  double duty = 0;              ///< time above half of the step, 0 .. 1
  Estimate mean_A;
  double ripple_A = 0;  ///< peak to peak within a period, mean of the periods
  /// Mean voltage over mean current: the flux ends a period where it began. NaN below 2 % duty.
  Estimate resistance_ohm;
  bool rising = true;  ///< reached from a lower duty
  std::size_t periods = 0;
};

struct DutyStep {
  double duty = 0;
  double up_A = 0, down_A = 0;  ///< mean currents
  double up_ripple_A = 0, down_ripple_A = 0;
};

/// `reason` says why there are no levels; the rest is then empty.
struct DutySweep {
  std::string reason;
  double frequency_Hz = 0;
  double step_V = 0;  ///< on voltage, median
  std::vector<DutyLevel> levels;
  Estimate resistance_ohm;  ///< from the levels together
  std::vector<DutyStep> both_ways;
  double hysteresis_A = 0;       ///< largest difference of mean currents at equal duty
  double ripple_hysteresis = 0;  ///< largest relative difference of ripples: where the plunger
                                 ///< stands differently, so does the inductance
  double dither_Hz = 0;          ///< 0: none seen
  double dither_A = 0;           ///< amplitude of the mean current's swing
  double least_slope = 0;        ///< lowest mean-current step over duty step, of V/R: 1 ideal
};

/// Needs a voltage channel that switches at least ten times, with eight samples a
/// period or more; the period may vary by 10 %.
DutySweep analyse_duty(const Capture& capture);

/// Whether the voltage switches so often that it is no single pulse.
bool looks_modulated(const Capture& capture);

}  // namespace pinproof::waveform
