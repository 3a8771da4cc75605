// The stationary model over the whole pulse, for a plunger that does not move:
//   i = G v - H (v - LP(v)),  G = 1/R,  H = a/R,  LP' = (v - LP) / tau
// (coil_figures.h). Where it holds to the end, all samples speak for R, a and tau
// together, and nothing less is efficient. Inside the waveform folder only.
#pragma once

#include "waveform/prepared.h"
#include "waveform/rest_model.h"
#include "waveform/settled.h"

namespace pinproof::waveform {

struct WholeFit {
  bool holds = false;  ///< the residuals are noise from the skip to the end of the pulse
  Estimate resistance_ohm;
  Estimate current_A;  ///< G v at the end of the pulse
  RestFit rest;        ///< L, tau, a and the rest, as of the stretch before motion
};

/// `rest` is the fit of the stretch before motion: where it starts, and tau's first value.
WholeFit fit_whole(const Prepared& p, const SettledCurrent& settled, const RestFit& rest,
                   const AnalysisOptions& options);

}  // namespace pinproof::waveform
