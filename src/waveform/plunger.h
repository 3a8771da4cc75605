// The plunger's marks in the rising current. Inside the waveform folder only.
#pragma once

#include <optional>
#include <string>

#include "waveform/prepared.h"
#include "waveform/rest_model.h"
#include "waveform/settled.h"

namespace pinproof::waveform {

/// The dip that a plunger's speed makes: current peak, then seating valley.
struct SeatingDip {
  double peak = 0, valley = 0;  ///< fractional indices
  double peak_A = 0, valley_A = 0;
  double peak_u_s = 0, valley_u_s = 0;  ///< of the instants, without the onset's
};

/// A dip counts when it stands out of the noise, ends below the final current,
/// and the voltage still drove the current up meanwhile (v > R i): only a moving
/// plunger makes it fall then, a supply that gives way does not.
std::optional<SeatingDip> find_seating(const Prepared& p, const SettledCurrent& settled);

/// Flux linkage: integral of v - R i from the onset to where the current has
/// settled, in Vs. u holds noise, zero lines and R's own.
Estimate flux_linkage(const Prepared& p, const SettledCurrent& settled,
                      const AnalysisOptions& options);

/// Largest ratio of flux linkage to L i_m while the current rises, i_m being the
/// current less the eddy path's; largest by its lower end, value - 2 u. At rest
/// it stays at 1 (below with saturation); a plunger that closes its gap raises it.
Estimate inductance_growth(const Prepared& p, const SettledCurrent& settled, const RestFit& rest);

struct PlungerJudgement {
  Plunger plunger = Plunger::not_judged;
  std::string reason;
};
PlungerJudgement judge_plunger(const CoilFigures& figures, PlungerAction coil_class);

}  // namespace pinproof::waveform
