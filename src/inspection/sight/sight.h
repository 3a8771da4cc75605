// What a given bench cannot see of a given pack, and what would see it. Pure.
#pragma once

#include <string>
#include <vector>

#include "inspection/checks/plan.h"
#include "metrology/accuracy.h"
#include "profile/profile.h"

namespace pinproof::inspection {

struct Unseen {
  std::string fault;   ///< "a plunger that does not move"
  std::string why;     ///< "this bench does not drive coils"
  std::string remedy;  ///< "a supply, a shunt and a digitiser"
};

/// Limits of the bench first, then those that lie in the profile's own limits.
/// `accuracy` is the meter's table.
std::vector<Unseen> unseen(const profile::Profile& profile, const Capabilities& can,
                           const metrology::AccuracyTable& accuracy, bool four_wire,
                           double contact_u_ohm);

}  // namespace pinproof::inspection
