// A conductor under load: its four-wire drop at several currents and times. Pure.
#pragma once

#include <string_view>
#include <vector>

#include "quantity/quantity.h"

namespace pinproof::diagnosis {

/// One drop: so many ohm (volt over ampere) at this current, so long after it was switched on.
struct Drop {
  double ampere = 0;
  double at_s = 0;
  Estimate ohm;
};

enum class Conduct {
  steady,   ///< the same at all currents and times: ohmic, be it good or bad
  film,     ///< falls as the current rises: a contact film that breaks down
  heating,  ///< rises while the current flows: a joint or a few strands that warm up
  rising    ///< rises with the current, early already
};
std::string_view name_of(Conduct conduct);

struct LoadResult {
  Conduct conduct = Conduct::steady;
  Estimate small_ohm;  ///< at the smallest current
  Estimate early_ohm;  ///< at the largest current, first
  Estimate late_ohm;   ///< at the largest current, last
};

/// Compares by the drops' own uncertainties (three standard deviations) and by 5 % and 5 milliohm
/// at least, since copper itself warms a little. Needs two drops. Throws std::invalid_argument.
LoadResult judge_load(std::vector<Drop> drops);

}  // namespace pinproof::diagnosis
