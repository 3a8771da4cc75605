// The lever proved on a bench: its walk, and the gear table where it is wanted.
#pragma once

#include <optional>
#include <vector>

#include "app/lever_walk.h"
#include "app/open_bench.h"
#include "lever/gears.h"
#include "lever/study.h"
#include "record/record.h"

namespace pinproof::app {

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
LeverTested test_lever(const profile::Profile& profile, lever::Code code,
                       std::vector<lever::Tap> taps, OpenBench& opened,
                       const inspection::RunOptions& run, const LeverAsked& asked, LeverEye& eye,
                       record::Record& record);

/// A line that changes on the terminal at standard error; only what a person must do elsewhere.
std::unique_ptr<LeverEye> eye_on_terminal();

}  // namespace pinproof::app
