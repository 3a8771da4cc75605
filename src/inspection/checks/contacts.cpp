#include "inspection/checks/contacts.h"

#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr Resistance kClosed{100};  // below, a contact that should be open is no mere leak

}  // namespace

Step contact_step(const profile::Profile& profile, const network::ContactPair& pair,
                  const network::PackState& state, record::Key key, Phase phase) {
  const auto expected = network::expectation(profile, pair, state);
  // An unsettled contact ("any") starts in a range where both answers are quick.
  const Resistance ohm{!expected ? 1000 : expected->closed ? expected->ohm.high : INFINITY};
  return {.key = std::move(key),
          .phase = phase,
          .state = state,
          .action = OhmStep{{{pair.from}, {pair.to}}, ohm, 1},
          .skip_if = {}};
}

void judge_contact(const Evidence& evidence, const network::ContactPair& pair,
                   const network::PackState& state, const record::Reading& reading, Result& result,
                   char& seen) {
  const auto expected = network::expectation(evidence.profile(), pair, state);
  const double open_ohm = evidence.profile().open_ohm;
  result.pins = {pair.from, pair.to};
  seen = reading.ohm_or_open() >= open_ohm ? 'o' : '?';
  if (!expected) {
    result.outcome = Outcome::undecided;
    result.text = text_of(reading) + "; the code table does not say what to expect here";
  } else if (expected->closed) {
    // The lower bound only matters with a series resistor: a contact of nought ohm is a good one.
    const Interval limit{expected->ohm.low > 0 ? expected->ohm.low : -INFINITY, expected->ohm.high};
    judge_closed(evidence, reading, limit, result);
    if (reading.ohm_or_open() <= expected->ohm.high) seen = 'c';
  } else {
    judge_open(evidence, reading, open_ohm, result);
    if (seen == '?' && reading.ohm() < kClosed) seen = 'c';
  }
}

}  // namespace pinproof::inspection
