// What a result, a figure and a finding are called where they are compared, joined and stored. None
// of it is a sentence: a title may be worded anew or in another language, these stay.
#pragma once

#include <compare>
#include <string>
#include <vector>

namespace pinproof::findings {

/// One thing that is judged of one subject.
struct ResultId {
  std::string check;    ///< kind of check: "coil-drive"
  std::string subject;  ///< part, pin, circuit or "bench"
  std::string aspect;   ///< what of it: "inductance_H", "before"; empty where there is one only
  friend auto operator<=>(const ResultId&, const ResultId&) = default;
};

/// One fault that was found: its kind, the part and the nodes where it shows, sorted.
struct FindingId {
  std::string kind, part;
  std::vector<std::string> nodes;
  friend auto operator<=>(const FindingId&, const FindingId&) = default;
};

/// "coil-drive/A/inductance_H", for JSON and for a person who writes a script. A slash inside of a
/// name is written "%2F", so that two ids never read alike.
std::string text_of(const ResultId& id);

/// The aspects that a profile holds limits of, as its keys are called.
inline constexpr const char* kResistance = "resistance_ohm";
inline constexpr const char* kInductance = "inductance_H";
inline constexpr const char* kPullIn = "pull_in_s";
inline constexpr const char* kRelease = "release_s";
inline constexpr const char* kPullInCurrent = "pull_in_current_A";

/// Resistance at a reference temperature: "resistance_ohm" at the usual 20 °C, otherwise with it
/// ("resistance_ohm@25"), since figures at two temperatures are no figures of one kind.
std::string resistance_at(double celsius);

}  // namespace pinproof::findings
