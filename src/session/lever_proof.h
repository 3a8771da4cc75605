// The lever proved on a bench: its walk, and the gear table where it is wanted.
#pragma once

#include <optional>
#include <vector>

#include "lever/gears.h"
#include "lever/study.h"
#include "record/record.h"
#include "session/bench.h"
#include "session/lever_walk.h"

namespace pinproof::session {

struct LeverAsked {
  bool harness = false;  ///< one is between: the profile is the joined one
  bool free = false, both_ways = false, gears = false;
  double rest_s = 6;  ///< at which a free walk ends
};

/// What a bench gave: the lever, and perhaps the gears.
struct LeverTested {
  lever::Study study;
  std::optional<lever::GearStudy> gears;
};

/// `run` as for an inspection on `opened`; what was read is in `record`. Throws Error, with the
/// bench made safe.
LeverTested test_lever(const profile::Profile& profile, lever::RangeCode code,
                       std::vector<lever::Tap> taps, Bench& opened,
                       const inspection::RunOptions& run, const LeverAsked& asked, LeverEye& eye,
                       record::Record& record);

}  // namespace pinproof::session
