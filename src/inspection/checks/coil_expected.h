// What the profile's limits let a coil be expected to show, and how the bench's
// capture of it is to be read. Pure.
#pragma once

#include "profile/profile.h"
#include "record/record.h"
#include "waveform/traits.h"

namespace pinproof::inspection {

/// The middles of the limits, their halves as two standard deviations; nothing
/// where the profile has no limit.
waveform::ExpectedTraits expected_of(const profile::Coil& coil);

/// Wound alike, so that one may be held against the other: the same class, and the middles of their
/// limits within 5 %. Limits learned for each coil apart differ by less, coils of another kind by
/// more (common practice, no source).
bool are_equal(const profile::Part& a, const profile::Part& b);

/// R(t) / R(20 °C) of copper; without a temperature that of a workshop, 23 ± 10 °C.
Estimate copper_ratio_of(const std::optional<Estimate>& celsius);

/// How the waveform of this part is to be analysed.
waveform::AnalysisOptions analysis_options(const profile::Coil& coil,
                                           const record::PulseCapture& capture);

/// The samples of a record's capture.
waveform::Capture samples_of(const record::PulseCapture& capture);

}  // namespace pinproof::inspection
