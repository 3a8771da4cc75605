// A judgement as the ledger keeps it.
#pragma once

#include <string>

#include "inspection/checks/judgement.h"
#include "record/ledger.h"

namespace pinproof::inspection {

record::Judged judged_of(const Judgement& judgement, const std::string& profile_hash,
                         const std::string& program);
/// Where a person decided for worse than was measured, that counts: verdict and reason are the
/// person's, results and findings stay. A better decision changes nothing.
Judgement decided(Judgement judgement, const record::Attempt& attempt);
/// "complete", "stopped", "bench-fault" or "left", from the record's last Finished.
std::string how_it_ended(const Judgement& judgement, const record::Record& record);

}  // namespace pinproof::inspection
