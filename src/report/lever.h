// A lever test for people and for programs.
#pragma once

#include <string>

#include "lever/study.h"

namespace pinproof::report {

/// Text for a terminal of 80 columns.
std::string lever_text(const std::string& profile_name, const lever::Study& study);
/// JSON with `positions`, `explanations`, `hazards`, `next_position` and `verdict`.
std::string lever_json(const std::string& profile_name, const lever::Study& study);

}  // namespace pinproof::report
