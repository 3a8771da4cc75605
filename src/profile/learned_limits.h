// Limits that can be learned from packs, and a profile's text with such limits in it. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "profile/profile.h"

namespace pinproof::profile {

/// A limit of a coil or resistor, whether the profile has it or not.
struct LimitPlace {
  std::string pointer;  ///< "/parts/3/pull_in_s"
  std::size_t part = 0;
  std::string key;                  ///< "pull_in_s"
  std::optional<Interval> present;  ///< none: the profile sets no limit there
};
/// In the order of the file. A coil that is not driven to seat a plunger has no place for
/// switching figures unless the profile sets a limit there.
std::vector<LimitPlace> limit_places(const Profile& profile);

/// With the widest limits that a profile may have where it sets none, so that the figures are read
/// from records of packs for which nobody had a limit.
Profile with_all_limits(Profile profile);

/// To 6 significant digits, each end to the nearest.
Interval rounded(const Interval& limits);

struct LimitChange {
  std::string pointer;  ///< of a LimitPlace
  Interval limits;
  std::string source;  ///< where they come from
};

/// The text of a profile with other limits: keys in their order, two blanks of indent, all else as
/// it was. The source entry of a changed pointer is replaced, or added behind the others. The
/// result is loaded again: throws Error(usage), naming `file` and the pointer, for a pointer that
/// is no LimitPlace, for one that stands twice, and for whatever the loader refuses.
std::string with_limits(std::string_view json, const std::string& file,
                        const std::vector<LimitChange>& changes);

}  // namespace pinproof::profile
