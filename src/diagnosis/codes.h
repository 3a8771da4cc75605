// Trouble codes: what they point at, and what a measured pack says of them. Pure.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "diagnosis/rank.h"
#include "profile/profile.h"

namespace pinproof::diagnosis {

/// One line of trouble_codes.tsv.
struct GenericTroubleCode {
  std::string_view code;       ///< "P0871"
  std::string_view component;  ///< "fluid_pressure_sensor_switch"
  std::string_view letter;     ///< of the component; letters do not number a pack's parts
  std::string_view kind;       ///< "low", "high", "open", "range_performance", ...
  std::string_view meaning;
  std::string_view bench;  ///< decisive_pack_side, partial, weak, harness_or_controller, none
};
std::span<const GenericTroubleCode> code_table();
/// nullptr for a code that is not in the table.
const GenericTroubleCode* find_code(std::string_view code);

/// True where this fault, by its electrical direction, would set the code: an open low-side
/// coil reads low, a high-side one high (common practice, no source).
bool explains(const profile::Profile& profile, const GenericTroubleCode& code,
              const Suspect& suspect, double size);

/// Factors on the suspects' rates: a fault that leaves a code unexplained is by so much less
/// likely.
std::vector<double> code_weights(const profile::Profile& profile,
                                 const std::vector<Suspect>& suspects,
                                 const std::vector<std::string>& codes);

enum class CodeStanding {
  explained,
  second_cause,
  exonerated,
  not_settled,
  not_electrical,
  unknown
};
std::string_view name_of(CodeStanding standing);

struct CodeVerdict {
  std::string code;
  std::string meaning;
  std::vector<std::string> parts;  ///< of the profile
  CodeStanding standing = CodeStanding::unknown;
  std::string why;                ///< one sentence
  std::vector<std::string> left;  ///< where else the cause may be, likeliest first
  std::string test;               ///< what would settle it; empty where it is settled
};

/// What the ranking says of one code. `code` need not be known. Never exonerates intermittents.
/// `cleared`: suspects that the readings would have shown, in their order.
CodeVerdict judge_code(const profile::Profile& profile, const std::vector<Suspect>& suspects,
                       const Ranking& ranking, const std::vector<bool>& cleared,
                       const std::string& code);

}  // namespace pinproof::diagnosis
