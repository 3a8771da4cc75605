// A record is judged again by a profile that has changed since: what was read then must be what
// this profile asks for. Pure.
#pragma once

#include <vector>

#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::inspection {

/// Keys whose last answer was taken between other terminals, in another state of the pack or with
/// other coils than `profile` asks for, each once with what differs. Empty where the record was
/// made by this very profile. Answers that no plan of the profile knows are left alone: the checks
/// do not look at them, or (follow-ups) only to name what another reading has shown.
std::vector<record::Skipped> asked_otherwise(const profile::Profile& profile,
                                             const record::Record& record);

}  // namespace pinproof::inspection
