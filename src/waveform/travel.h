// The plunger's travel, read from flux linkage and current. Inside the waveform
// folder only.
//
// With the eddy path's current taken off, i_m = i - (v - R i) / Re, the linkage
// lambda = integral of v - R i is L(y) i_m. While the iron is straight, L(y) goes
// with one over the gap, so
//   s = 1 - L_rest i_m / lambda = travel / (gap at rest)
// (magnetic circuit with one gap; circuit theory). Saturation lowers s again.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "waveform/coil_figures.h"
#include "waveform/plunger.h"
#include "waveform/prepared.h"
#include "waveform/rest_model.h"
#include "waveform/settled.h"

namespace pinproof::waveform {

struct TravelTrace {
  std::size_t first = 0;              ///< index of the first value: the on phase's
  std::vector<double> linkage_Vs;     ///< one a sample, to the end of the capture
  std::vector<double> magnetising_A;  ///< i_m, the same
  std::vector<double> share;          ///< s, up to the switch-off; 0 while the linkage is small
  std::vector<double> linkage_u_Vs;   ///< what R, zero lines and the onset may have made of it
};

/// Post: vectors of equal length but for `share`.
TravelTrace trace_travel(const Prepared& p, const SettledCurrent& settled, const RestFit& rest);

struct Travel {
  std::optional<CurrentEvent> begin;  ///< 2 % of the travel; current_A is i_m then
  std::optional<CurrentEvent> end;    ///< without a dip: where s has reached 95 % of its largest
  Estimate stroke_share;              ///< s when seated, or its largest; NaN when not seen
  double begin_u_A = 0;               ///< of begin's current
  double need_A = 0;                  ///< i_m when the force first exceeded what holds the plunger
  double need_u_A = 0;
  int bounces = 0;  ///< further dips after the seating valley
};

/// Where the travel read from flux and current comes back to nothing after
/// switch-off, in seconds from it; NaN where the decay does not show it. Without
/// current the eddy path's voltage alone tells it.
Estimate find_return(const Prepared& p, const RestFit& rest, const TravelTrace& trace,
                     const Estimate& stroke_share);

/// `growth` as of inductance_growth: without a dip, what tells travel from noise.
Travel find_travel(const Prepared& p, const RestFit& rest, const TravelTrace& trace,
                   const std::optional<SeatingDip>& dip, const Estimate& growth);

}  // namespace pinproof::waveform
