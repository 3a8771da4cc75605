// A whole inspection in one process: simulated bench on real sockets, SCPI
// drivers, runner, judge.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "inspection/judge/judge.h"
#include "inspection/run/run.h"
#include "profile/profile.h"

namespace pinproof::tests {

struct Inspected {
  record::Record record;
  inspection::Judgement judgement;
  int exit_code = 0;
};

/// A profile of profiles/, by its name.
profile::Profile load(const std::string& name);

/// Time stands still, so that equal seeds give equal records.
/// `dress` may put something before the instruments.
Inspected inspect(const profile::Profile& profile, std::uint64_t seed,
                  std::vector<std::string> faults, bool full = true,
                  const std::function<void(bench::Instruments&)>& dress = {});

/// Fills in what the record alone says.
void judge(const profile::Profile& profile, Inspected& pack);

}  // namespace pinproof::tests
