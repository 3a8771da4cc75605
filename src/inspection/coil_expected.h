// What the profile's limits let a coil be expected to show, and how the bench's
// capture of it is to be read. Pure.
#pragma once

#include "profile/profile.h"
#include "record/record.h"
#include "waveform/traits.h"

namespace pinproof::inspection {

/// The middles of the limits, their halves as two standard deviations; nothing
/// where the profile has no limit.
waveform::Expected expected_of(const profile::Coil& coil);

/// R(t) / R(20 °C) of copper; without a temperature that of a workshop, 23 ± 10 °C.
Estimate copper_ratio_of(const std::optional<Estimate>& celsius);

/// How the waveform of this part is to be analysed.
waveform::AnalysisOptions analysis_options(const profile::Coil& coil,
                                           const record::Capture& capture);

/// The samples of a record's capture.
waveform::Capture samples_of(const record::Capture& capture);

}  // namespace pinproof::inspection
