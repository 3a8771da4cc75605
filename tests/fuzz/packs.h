// The two packs of profiles/, loaded once, for targets that need something to judge by.
#pragma once

#include "profile/load.h"
#include "targets.h"

namespace pinproof::fuzz {

inline const profile::Profile& four_speed() {
  static const auto kProfile = profile::load_profile(in_project("profiles/four-speed-13-pin.json"));
  return kProfile;
}

inline const profile::Profile& six_speed() {
  static const auto kProfile = profile::load_profile(in_project("profiles/six-speed-20-pin.json"));
  return kProfile;
}

}  // namespace pinproof::fuzz
