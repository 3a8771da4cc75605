// The loop of flux linkage against current, and what follows from it: the
// incremental inductance, the field's energy, and the work that one stroke of
// the plunger took out of it. Pure.
#pragma once

#include <string>
#include <vector>

#include "quantity/quantity.h"
#include "waveform/coil_figures.h"

namespace pinproof::waveform {

struct LoopPoint {
  double at_s = 0;       ///< from the onset
  double current_A = 0;  ///< magnetising: the eddy path's current is taken off
  double linkage_Vs = 0;
  double travel_share = 0;  ///< of the gap at rest; NaN after switch-off
};

struct IncrementalInductance {
  double current_A = 0;   ///< middle of the stretch
  Estimate inductance_H;  ///< d(linkage) / d(current) there
};

/// Of a capture with a fit of the resting coil; `reason` says why not.
struct Magnetics {
  std::string reason;
  std::vector<LoopPoint> loop;  ///< on phase and decay, a few hundred points
  std::vector<IncrementalInductance> at_rest, seated;
  Estimate field_energy_J;  ///< at the end of the pulse; NaN where it is not seen
  Estimate stroke_work_J;   ///< by the field on plunger, spring and fluid; NaN without a dip
  Estimate drift_Vs;        ///< linkage left after the decay: zero but for drift and residual flux
};

/// Energies are areas of the loop (W = integral of i dlambda, and what is left of
/// it in the field of the seated plunger, 1/2 lambda i at seating, since the iron
/// is straight there). u holds R, zero lines, onset and noise.
Magnetics magnetics_of(const Capture& capture, const AnalysisOptions& options,
                       const CoilFigures& figures);

}  // namespace pinproof::waveform
