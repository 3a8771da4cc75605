// What the driven checks share: where the supply goes, how much it may give,
// and when a coil must not be driven at all.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "inspection/checks/plan.h"

namespace pinproof::inspection {

struct DriveLimits {
  Voltage voltage;
  Current limit;
};

/// The profile's supply voltage, lowered where a coil at its low limit would
/// exceed its current budget; and a current limit above what a good coil draws
/// but never above its budget or the supply's.
DriveLimits drive_limits(const profile::Profile& profile, const profile::Part& coil,
                         const Capabilities& can);

/// Supply high goes to between[0]'s terminal, where a suppression diode has its
/// cathode. nullopt when no terminal reaches the coil.
std::optional<bench::Connection> drive_terminals(const profile::Profile& profile,
                                                 const profile::Part& coil);

/// A reason not to energise these coils, from the resistances read so far: a
/// short, an open or no reading at all.
std::optional<std::string> unsafe_to_drive(const profile::Profile& profile,
                                           const record::Record& record,
                                           const std::vector<std::string>& coils);

}  // namespace pinproof::inspection
