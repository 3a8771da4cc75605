// A lever test for people and for programs.
#pragma once

#include <string>

#include "lever/gears.h"
#include "lever/study.h"

namespace pinproof::report {

/// Text for a terminal of 80 columns. `gears` may be null; the verdict is the worse of both.
std::string lever_text(const std::string& profile_name, const lever::Study& study,
                       const lever::GearStudy* gears);
/// JSON with `positions`, `explanations`, `hazards`, `next_position` and `verdict`, the worse
/// of both. `gears` may be null.
std::string lever_json(const std::string& profile_name, const lever::Study& study,
                       const lever::GearStudy* gears);
std::string gears_text(const profile::Profile& profile, const lever::GearStudy& study);

}  // namespace pinproof::report
