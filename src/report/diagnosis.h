// A diagnosis as text for a terminal and as JSON.
#pragma once

#include <string>

#include "diagnosis/conclusion.h"
#include "diagnosis/coverage.h"
#include "diagnosis/trials.h"

namespace pinproof::report {

/// Eighty columns.
std::string diagnosis_text(const diagnosis::ConclusionInput& input,
                           const diagnosis::Conclusion& conclusion);
std::string diagnosis_json(const diagnosis::ConclusionInput& input,
                           const diagnosis::Conclusion& conclusion);

std::string coverage_text(const diagnosis::Scene& scene,
                          const std::vector<diagnosis::Probe>& probes,
                          const diagnosis::Coverage& coverage, const diagnosis::Trials& trials);
std::string coverage_json(const diagnosis::Scene& scene,
                          const std::vector<diagnosis::Probe>& probes,
                          const diagnosis::Coverage& coverage, const diagnosis::Trials& trials);

}  // namespace pinproof::report
