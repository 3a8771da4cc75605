// What driven captures say about the bench they were taken on. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "inspection/checks/evidence.h"
#include "inspection/checks/judgement.h"

namespace pinproof::inspection {

/// The supply's own voltage in a pulse: behind the edge, while little current
/// flows, and at the end. nullopt where that channel was not recorded.
struct SupplySeen {
  double early_V = 0, settled_V = 0;
};
std::optional<SupplySeen> supply_seen(const record::PulseCapture& capture,
                                      const waveform::CoilFigures& figures);

/// Peak to peak, in the later half of a pulse, of 1 ms means of the supply's own
/// voltage beside their line: hum, or a supply that does not hold. nullopt for
/// fewer than ten of them, or without that channel.
std::optional<double> supply_ripple_V(const record::PulseCapture& capture,
                                      const waveform::CoilFigures& figures);

/// Whether the coil could be driven as it should: pass, a fail where it is open or
/// draws too much, a bench fault for what no coil can do: leads that changed
/// places, lost samples, a supply that gives way below its limit or swings.
struct DriveTrouble {
  Outcome outcome = Outcome::pass;
  std::string text;
};
DriveTrouble trouble_of(const waveform::CoilFigures& figures, const record::PulseCapture& capture);

/// A shunt that is not what the bench file says changes the resistance under load
/// of every coil by the same share, a joint in a common wire by the same ohms.
struct CurrentScale {
  std::size_t coils = 0;        ///< with both resistances
  Estimate off_percent;         ///< median of the measured currents' error; NaN below two coils
  bool wrong = false;           ///< nearly all coils agree on it
  bool could_be_joint = false;  ///< the coils are too much alike to tell the two apart
};
CurrentScale current_scale(const Evidence& evidence, const std::vector<CoilTrace>& traces);

}  // namespace pinproof::inspection
