// Inline drawings of a report. Every number goes through one formatter that
// never writes anything but digits.
#pragma once

#include <string>

#include "report/drawing.h"
#include "report/formats.h"

namespace pinproof::report {

/// Limit interval with hatched guard bands, the value and its expanded
/// uncertainty. Empty when the result has no number or no limit.
std::string limit_bar(const inspection::Result& result);
/// Looking into the pack's connector; pins of findings are squares with a cross.
std::string connector_face(const Input& input);
/// Current and voltage of one driven coil with the rest model over its window.
std::string waveform_plot(const record::Capture& capture, const inspection::CoilTrace& trace);

}  // namespace pinproof::report
