// What every coil analysis must keep, whatever was captured.
#pragma once

#include "waveform/capture.h"
#include "waveform/coil_figures.h"

namespace pinproof::fuzz {

/// All that `pinproof coil` makes of a capture.
void study_coil(const waveform::Capture& capture, const waveform::AnalysisOptions& options);

}  // namespace pinproof::fuzz
