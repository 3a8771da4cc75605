// Whether a coil that moves its plunger now will still do so hot and at the
// lowest supply. Pure.
#pragma once

#include <string>

#include "waveform/coil_figures.h"

namespace pinproof::waveform {

/// The plunger leaves its rest when the steady current exceeds what frees it:
/// lambda_0 over the inductance at rest, found by its equation of motion. Copper
/// warms, the magnetic circuit does not care; friction and oil are as they were
/// in the capture.
struct Margin {
  std::string reason;         ///< why there is none; empty when there is one
  Estimate hot_current_A;     ///< lowest supply over the hot resistance
  Estimate needed_current_A;  ///< that frees the plunger
  Estimate margin;            ///< hot over needed, less 1: below 0 it stays where it is
  Estimate ends_at_ratio;     ///< R over R in the capture at which the margin is used up
};

/// `lowest_V` at the coil, > 0; `hot_ratio` is R hot over R in the capture, both
/// of the same copper, with its standard uncertainty.
Margin margin_at(const CoilFigures& figures, double lowest_V, const Estimate& hot_ratio);

}  // namespace pinproof::waveform
