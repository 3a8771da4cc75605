// What a loadable profile may still get wrong: missing sources, unused pins,
// code tables that invite a mistake, limits that can never be met.
#pragma once

#include <string>
#include <vector>

#include "profile/profile.h"

namespace pinproof::profile {

struct Remark {
  enum class Weight { error, warning };
  Weight weight = Weight::warning;
  std::string pointer;  ///< where in the file
  std::string text;
};

/// Errors first. An empty list means that nothing was found.
std::vector<Remark> lint(const Profile& profile);

}  // namespace pinproof::profile
