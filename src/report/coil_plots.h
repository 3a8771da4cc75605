// Drawings of one coil's capture.
#pragma once

#include <string>
#include <vector>

#include "report/coil_study.h"

namespace pinproof::report {

/// The rise of the current over the known-good ones, its marks and the fitted rest model.
std::string rise_plot(const CoilStudy& study);
/// Flux linkage against magnetising current: on, seated, and back.
std::string loop_plot(const std::vector<waveform::LoopPoint>& loop, const std::string& title);
/// Travel, as a share of the gap at rest, against time.
std::string travel_plot(const waveform::Magnetics& magnetics, const waveform::CoilFigures& figures);
/// Mean current and ripple against duty, up and down.
std::string duty_plot(const waveform::DutySweep& sweep);

}  // namespace pinproof::report
