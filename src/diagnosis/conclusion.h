// What a diagnosis says in the end, ready to be printed. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "diagnosis/codes.h"
#include "diagnosis/intermittent.h"
#include "diagnosis/search.h"

namespace pinproof::diagnosis {

/// A part that has been cleared, of what.
struct Cleared {
  std::string part;
  std::vector<std::string> kinds;
};

struct Conclusion {
  Ranking ranking;
  /// The explanations that together hold nearly all probability, at most ten.
  std::vector<Explanation> named;
  /// Probability that a fault of this part is there, greatest first; what is of no part counts
  /// for "bridges between pins" and "order of the pins".
  std::vector<std::pair<std::string, double>> by_part;
  std::optional<Choice> next;         ///< the question to ask next; none: nothing left to ask
  std::vector<Cleared> exonerated;    ///< faults that were likely enough before and are not now
  std::vector<std::string> untested;  ///< parts of which no fault has been ruled out
  std::vector<std::string> masked;    ///< faults that the named one hides: retest after the repair
  std::vector<CodeVerdict> codes;
  Movement movement;                 ///< of the held readings
  std::vector<std::string> remarks;  ///< what was seen beside the readings
  std::string sentence;              ///< the result in one sentence
  enum class End { good, fault, open } outcome = End::open;
};

struct ConclusionInput {
  const Scene* scene = nullptr;
  const std::vector<Suspect>* suspects = nullptr;
  const std::vector<Probe>* probes = nullptr;
  const std::vector<std::size_t>* list = nullptr;
  std::vector<std::string> codes;
  std::vector<Observation> readings;
  std::vector<Held> held;
  std::vector<std::string> remarks;
  bool unproven = false;  ///< the readings' bench did not prove itself: nothing is exonerated
  double noise_ohm = 0.05;
  double sure = 0.99;
};

Conclusion conclude(const ConclusionInput& input, const Ranking& ranking,
                    const std::optional<Choice>& next);

/// "about 12 % of the turns", "14.6 ohm"; empty where the size says nothing.
std::string size_text(const Guess& guess);
/// "coil B has shorted turns (about 12 % of them)".
std::string text_of(const Guess& guess);
std::string text_of(const Explanation& explanation);

}  // namespace pinproof::diagnosis
