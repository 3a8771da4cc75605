// What follows the switch-off: the clamp, and the plunger's way back. Inside
// the waveform folder only.
#pragma once

#include <string>

#include "waveform/prepared.h"

namespace pinproof::waveform {

struct Release {
  Estimate release_s;  ///< NaN where not seen
  std::string reason;  ///< how it was seen, or why not
  Estimate clamp_V;    ///< NaN where not seen
  SeenSuppression suppression = SeenSuppression::not_judged;
};

/// With a freewheel diode the returning plunger raises the decaying current to
/// a small maximum, which ends with its travel. Behind a zener the current is
/// gone before the plunger moves; the coil's voltage then decays with the eddy
/// path, faster over the open gap, and the rate jumps where travel ends.
Release find_release(const Prepared& p, const AnalysisOptions& options);

}  // namespace pinproof::waveform
