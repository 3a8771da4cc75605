// A lever test as a whole: what was seen, what explains it, and the verdict. Pure.
#pragma once

#include <string>
#include <vector>

#include "inspection/checks/judgement.h"
#include "lever/explain.h"
#include "lever/taps.h"
#include "lever/walk.h"

namespace pinproof::lever {

struct Study {
  RangeCode code;
  std::vector<Tap> taps;
  RemarkedTaps seen;
  std::vector<LeverStop> walk;  ///< of a free walk; empty where each position was asked for
  Explained explained;
  std::vector<std::string> texts;  ///< of the explanations, in their order
  inspection::Verdict verdict = inspection::Verdict::hold;
  std::string why;
};

/// Explains and judges: accept only where every contact was read in every position and is right;
/// reject where only a fault explains what was seen; hold otherwise. Nothing that was read
/// overrides a hazard.
Study study_of(const profile::Profile& profile, RangeCode code, std::vector<Tap> taps,
               RemarkedTaps seen);
/// The same of a free walk from the first position to the last and back; held, with the hazards,
/// where a good pack shows the same if positions are gone past.
Study study_of(const profile::Profile& profile, RangeCode code, std::vector<Tap> taps,
               std::vector<LeverStop> walk);

/// "L1 (pin 13) never closes: ...; and ...".
std::string text_of(const Ground& ground, const LineExplanation& explanation);

}  // namespace pinproof::lever
