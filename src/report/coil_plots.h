// Drawings of one coil's capture.
#pragma once

#include <string>
#include <vector>

#include "report/coil_study.h"
#include "report/markup.h"

namespace pinproof::report {

/// The rise of the current over the known-good ones, its marks and the fitted rest model.
Markup rise_plot(const CoilStudy& study);
/// Flux linkage against magnetising current: on, seated, and back.
Markup loop_plot(const std::vector<waveform::LoopPoint>& loop, const std::string& title);
/// Travel, as a share of the gap at rest, against time.
Markup travel_plot(const waveform::Magnetics& magnetics, const waveform::CoilFigures& figures);
/// Mean current and ripple against duty, up and down.
Markup duty_plot(const waveform::DutySweep& sweep);

}  // namespace pinproof::report
