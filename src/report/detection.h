// What an inspection is sure to notice, as text and as JSON.
#pragma once

#include <string>

#include "inspection/sight/detection.h"

namespace pinproof::report {

/// Eighty columns. `level` is "static" or "full"; `bench` says which one: "this bench".
std::string detection_text(const inspection::DetectionLimits& limits, const std::string& level,
                           const std::string& bench);
/// Adds "detection" and "not_sure" to a report of coverage, which is JSON text.
std::string with_detection(const std::string& coverage_json,
                           const inspection::DetectionLimits& limits, const std::string& level);

}  // namespace pinproof::report
