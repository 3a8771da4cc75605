// What the pressure switches and the lever contacts share: a pair of terminals
// read in a state, judged against what a good pack reads there.
#pragma once

#include "inspection/checks/check.h"

namespace pinproof::inspection {

/// A step that reads `pair` in `state`.
Step contact_step(const profile::Profile& profile, const network::ContactPair& pair,
                  const network::PackState& state, record::Key key, Phase phase);

/// pass, fail or undecided against the expectation; `seen` gets 'c' (closed as
/// expected or closer), 'o' (open), '?' (neither).
void judge_contact(const Evidence& evidence, const network::ContactPair& pair,
                   const network::PackState& state, const record::Reading& reading, Result& result,
                   char& seen);

}  // namespace pinproof::inspection
