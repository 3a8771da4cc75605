// Inline drawings of a report. Every number goes through one formatter that
// never writes anything but digits.
#pragma once

#include <set>
#include <string>

#include "report/drawing.h"
#include "report/formats.h"

namespace pinproof::report {

/// Limit interval with hatched guard bands, the value and its expanded
/// uncertainty. Empty when the result has no number or no limit.
Markup limit_bar(const inspection::Result& result);
/// Looking into the pack's connector; pins of findings are squares with a
/// cross, and the shell is broken and heavy where the case is meant.
Markup connector_face(const Input& input);
/// The same for any pins; `with_signals` writes what runs at each beneath its
/// number.
Markup connector_face(const profile::Connector& connector, const std::set<std::string>& marked,
                      bool with_signals);
/// Current and voltage of one driven coil with the rest model over its window.
Markup waveform_plot(const record::PulseCapture& capture, const inspection::CoilTrace& trace);

}  // namespace pinproof::report
