// What a coil's voltage says of its suppression when it is switched off.
#pragma once

#include <string>

#include "inspection/checks/judgement.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::inspection {

struct SuppressionSeen {
  Outcome outcome = Outcome::undecided;
  std::string text;
  bool diode = false;  ///< something holds the coil near nought
};

/// `off_s`: when the waveform was switched off, from the trigger. Undecided where the coil was
/// still driven, between a diode and none, or where the voltage cannot be told from the end of the
/// digitiser's range or from the bench's own clamp (0: unknown).
SuppressionSeen suppression_seen(const profile::Suppression& wanted,
                                 const record::PulseCapture& capture, double off_s,
                                 double bench_clamp_V);

/// What the digitiser must be able to show: a zener that is missing shows beyond its band.
Voltage probe_range(const profile::Suppression& wanted);

}  // namespace pinproof::inspection
