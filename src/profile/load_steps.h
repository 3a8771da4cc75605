// Steps of load.cpp, one file each; not for use elsewhere.
#pragma once

#include "profile/profile.h"
#include "quantity/document.h"

namespace pinproof::profile {

Part load_part(Place place);
Lever load_lever(Place place);
Gear load_gear(Place place);

/// Refuses lever and gear tables that name what the profile does not have.
void check_lever(const Place& place, const Profile& profile);
void check_gears(const std::vector<Place>& places, const Profile& profile);

}  // namespace pinproof::profile
