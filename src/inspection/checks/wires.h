// What the readings of the wires say, for checks that must take a wire off.
#pragma once

#include <optional>

#include "inspection/checks/evidence.h"

namespace pinproof::inspection {

/// Resistance of a conductor of the pack, by its own reading or from the three
/// around its splice. nullopt where they are missing or open.
std::optional<Estimate> wire_ohm(const Evidence& evidence, const profile::Part& wire);

}  // namespace pinproof::inspection
