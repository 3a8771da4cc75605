// Verdict, results and findings as a pure function of (profile, record): a
// stored record can be judged again, under new limits, to the same bytes.
#pragma once

#include "inspection/checks/judgement.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::inspection {

/// accept only when every required check passed; one fail makes reject;
/// anything else is hold. Throws Error(Fault::usage) when the record is of
/// another profile name.
Judgement judge(const profile::Profile& profile, const record::Record& record);

/// How the run ended, the last time that it did; nullptr where the record ends in mid-run.
const record::Finished* finished(const record::Record& record);

/// 0 accept, 1 reject, 2 hold; 4 when the bench failed and nothing was proven
/// against the pack; 5 when a person stopped the run.
int exit_code(const Judgement& judgement, const record::Record& record);

/// Why nothing good can be told from what this record holds: its run did not finish, or its bench
/// did not prove itself. A sentence with a space behind it; empty where it did.
std::string doubt_about(const Judgement& judgement, const record::Record& record);

}  // namespace pinproof::inspection
