// Resistance and final current from the late part of the pulse. Inside the
// waveform folder only.
#pragma once

#include "waveform/prepared.h"

namespace pinproof::waveform {

struct SettledCurrent {
  Status status = Status::ok;  ///< ok, no_current, wrong_polarity, too_short
  double resistance_ohm = 0;
  double noise_u = 0;    ///< of R: noise, zero lines and the unsettled rest; without the gains
  double current_A = 0;  ///< V/R at the end of the pulse
  double current_u = 0;  ///< the same, without the gain
  double voltage_V = 0;  ///< mean of the last sixth
  std::size_t from = 0;  ///< index: the current counts as settled from here
  bool current_limited = false;
};

/// R = v/i over the last half of the on phase in three thirds; what is left of
/// an exponential approach is taken off by Aitken's extrapolation of the thirds'
/// means. Too slow for it, and too_short, is an approach whose thirds' steps
/// shrink by less than 0.8 while the change is 2 % or more, or whose limit is
/// known to no better than 5 %; R and the current are then bounds only.
SettledCurrent settle(const Prepared& p, const AnalysisOptions& options);

}  // namespace pinproof::waveform
