// The smallest sets of faults that explain a table, what they mean, and which position would tell
// them apart. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lever/hazards.h"
#include "lever/line_faults.h"

namespace pinproof::lever {

struct LineExplanation {
  std::vector<LineFault> faults;  ///< empty: nothing is wrong
  /// Other names of the same wiring: no lever could tell them from it.
  std::vector<std::vector<LineFault>> alike;
  std::vector<Word> words;  ///< that it foretells, by position
  double probability = 0;   ///< among the explanations that remain
  std::vector<Hazard> hazards;
  bool silent = false;  ///< never an invalid code
};

struct Split {
  std::size_t position = 0;
  double bits = 0;  ///< expected information
};

struct Explained {
  /// All wirings with the least number of faults, likeliest first. Empty: not even three explain
  /// it (or two, where there are very many lines).
  std::vector<LineExplanation> explanations;
  std::size_t faults = 0;       ///< in each
  std::optional<Split> next;    ///< the position not yet seen that tells most
  std::vector<Hazard> hazards;  ///< of all of them, each once; certain where it is so in every one
  bool complete = false;        ///< every contact was read in every position
  /// Of a walk of which every word is right and in its turn, and some are missing: the positions
  /// that were not seen to stand on each way. Whoever moved the lever may not have stopped there.
  std::vector<std::size_t> gone_past;
};

struct ExplainOptions {
  std::size_t most_faults = 3;
  std::size_t most_explanations = 2000;  ///< of three faults; more tell nobody anything
  std::vector<std::string_view> kinds;   ///< that are considered; empty: all
};

/// `ground` must have been built with these observations.
Explained explain(const Ground& ground, const Observed& observed,
                  const ExplainOptions& options = {});

/// What was seen while the lever was moved from the first position to the last (and back, with
/// `back`), each word once until it changed. Where one stands still between two positions counts
/// as a word of its own. A walk that a good pack shows, but not to its end, is not complete and
/// nothing is wrong yet. Otherwise keeps the sets by which such a walk is possible, and says where
/// a good pack may have shown it to somebody who went past positions.
Explained explain_walk(const Ground& ground, const std::vector<Word>& seen, bool back,
                       const ExplainOptions& options = {});

/// Hazards of explanations that remain, each once; certain where it is certain in every one.
std::vector<Hazard> all_hazards(const std::vector<LineExplanation>& explanations);

}  // namespace pinproof::lever
