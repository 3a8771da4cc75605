// Good and faulty packs of both profiles, inspected by relays and by two probes: what must hold of
// every record is tried on these. The test `packs` inspects them and keeps their records, for the
// other test programs to read.
#pragma once

#include <string>
#include <vector>

#include "inspection/rig.h"

namespace pinproof::tests {

enum class By { relays_full, relays_static, two_probes };

struct Pack {
  std::string name;
  By by = By::relays_full;
  profile::Profile profile;
  Inspected inspected;
  bool faulty = false;

  const record::Record& record() const { return inspected.record; }
  bool accepted() const { return inspected.judgement.verdict == inspection::Verdict::accept; }
};

/// Inspects one now, with instruments. No fault: a good pack.
Pack inspected_pack(const std::string& profile_name, std::uint64_t seed, By by,
                    const std::string& fault);

/// All of them.
std::vector<Pack> inspected_packs();

/// Keeps their records in the folder that PINPROOF_TEST_PACKS names; -> whether one is named.
bool keep(const std::vector<Pack>& packs);

/// The kept ones, judged; inspected now where PINPROOF_TEST_PACKS names no folder, as for a program
/// that is started by hand.
const std::vector<Pack>& packs();

}  // namespace pinproof::tests
