// Written readings turned into what the diagnosis compares with. Pure.
#pragma once

#include <vector>

#include "diagnosis/likelihood.h"
#include "record/readings.h"

namespace pinproof::diagnosis {

/// Terminals by their names, conditions as situations of the scene (added where they are
/// new). Readings held over time are left out. Throws Error(usage) naming `file`, the
/// reading, and the pin, lever position or element that the profile does not have.
std::vector<Observation> observe(Scene& scene, const record::WrittenReadings& written,
                                 const std::string& file);

/// The same for one.
Observation observe(Scene& scene, const record::WrittenReading& written, const std::string& file);

}  // namespace pinproof::diagnosis
