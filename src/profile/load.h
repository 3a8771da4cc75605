// Profiles from files of the schema "pinproof/profile/1".
#pragma once

#include <string>
#include <string_view>

#include "profile/profile.h"

namespace pinproof::profile {

/// Every refusal is an Error(Fault::usage) that names `file`, the JSON pointer,
/// the value found and what is allowed. Beyond the shape it refuses what no
/// pack can be: duplicate pins, parts or nodes, a part between nodes that do
/// not exist or with both ends on one node, a face that does not show each pin
/// once, lever or gear tables that name parts which are not there.
Profile parse_profile(std::string_view json, const std::string& file);

/// At most 4 MiB.
Profile load_profile(const std::string& path);

}  // namespace pinproof::profile
