// What every judgement must keep, whatever record it is of.
#pragma once

#include "inspection/checks/judgement.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::fuzz {

/// Judges twice: the same comes out, an accept only where each required result is a pass and the
/// run is complete, a reject only with a fail. Throws Error as judge() does.
inspection::Judgement judged(const profile::Profile& profile, const record::Record& record);

}  // namespace pinproof::fuzz
