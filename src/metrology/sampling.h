// How many of a lot to test, and what that proves: single sampling plans by attributes of
// ISO 2859-1, and the chance that a lot passes them. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>

namespace pinproof::metrology {

enum class Severity { normal, tightened };

struct SamplePlan {
  std::size_t n = 0;   ///< parts to test; all of the lot where it is not larger
  std::size_t Ac = 0;  ///< the lot passes with so many bad ones or fewer
};

/// Code letter for a lot (2 or more) at a level: "S-1" to "S-4", "I", "II", "III". nullopt
/// otherwise.
std::optional<char> code_letter(std::size_t lot, std::string_view level);

/// Single plan for a letter and an acceptance quality limit in percent: 0.65, 1.0, 1.5, 2.5 or 4.0.
/// An arrow of the table is followed, which changes n as well. nullopt for other letters or limits.
std::optional<SamplePlan> single_plan(char letter, double AQL, Severity severity);

/// Chance that a plan passes: of a process with this share of bad parts (binomial) ...
double accept_probability(const SamplePlan& plan, double bad_share);
/// ... and of one lot by itself with so many bad parts in it (hypergeometric; plan.n <= lot).
double accept_probability(const SamplePlan& plan, std::size_t lot, std::size_t bad);
/// Share of bad parts that passes with this probability.
double share_at(const SamplePlan& plan, double probability);

enum class SwitchingState { normal, tightened, discontinued };

/// Switching rules of ISO 2859-1, 9.3, lot by lot; reduced inspection is optional there and not
/// offered here.
class Switching {
 public:
  SwitchingState state() const { return state_; }
  /// A lot on first inspection, not one handed in again.
  void add(bool accepted);

 private:
  SwitchingState state_ = SwitchingState::normal;
  unsigned last_ = 0;  ///< of up to five lots under normal inspection: bit set, not accepted
  std::size_t accepted_in_a_row_ = 0, refused_tightened_ = 0;
};

}  // namespace pinproof::metrology
