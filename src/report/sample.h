// A sampling plan for people and for programs: what to draw, when the lot passes, what that proves.
#pragma once

#include <optional>
#include <string>

#include "metrology/sampling.h"

namespace pinproof::report {

struct SampleCase {
  std::size_t lot = 0;
  std::string level;
  double AQL = 0;  ///< percent
  char letter = 'A';
  metrology::SwitchingState state = metrology::SwitchingState::normal;
  metrology::SamplePlan plan;      ///< n not above `lot`
  bool whole_lot = false;          ///< the table's n is not below the lot: all parts are tested
  std::optional<std::size_t> bad;  ///< found among them
  /// nullopt: nothing found yet.
  std::optional<bool> accepted() const {
    return bad ? std::optional(*bad <= plan.Ac) : std::nullopt;
  }
};

std::string sample_text(const SampleCase& one);
std::string sample_json(const SampleCase& one);
/// A page of its own with both curves drawn.
std::string sample_html(const SampleCase& one);

}  // namespace pinproof::report
