// What a record says about a pack: one result a check, findings with their
// evidence, and the verdict. A pure function of (profile, record): see judge.h.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "findings/ids.h"
#include "findings/verdict.h"
#include "quantity/quantity.h"
#include "waveform/coil_figures.h"

namespace pinproof::inspection {

using findings::Level;
using findings::name_of;
using findings::Outcome;
using findings::Verdict;
using findings::worse;

/// One thing that must hold.
struct Result {
  std::string check;    ///< kind: "coil-resistance"
  std::string subject;  ///< part, pin or circuit
  std::string aspect;   ///< what of it, where there are several: findings::ResultId
  std::string title;    ///< "Coil A: resistance at 20 °C"
  Outcome outcome = Outcome::undecided;
  bool required = true;
  std::optional<Estimate> value;  ///< what was judged, where it is a number
  Unit unit = Unit::none;
  std::optional<Interval> limit;
  double guard_band = 0;          ///< w in the unit of value
  std::string text;               ///< the reason in words: figures, limits, what was seen
  std::vector<std::string> pins;  ///< nodes touched
  /// Nobody answered, and this is why; none where there is a reading.
  std::optional<findings::SkipReason> skipped;
  bool unread = false;  ///< nobody has come to it yet, and nothing was left out
  bool after = false;   ///< of the bench's second self-check, when the pack has been measured

  findings::ResultId id() const { return {check, subject, aspect}; }
};

/// A named fault with its evidence.
struct Finding {
  std::string kind;  ///< "shorted-turns", "coil-open", "lost-ground", ...
  std::string part;
  std::string text;                   ///< one sentence for the person at the bench
  std::vector<std::string> pins;      ///< where to look
  std::vector<std::string> evidence;  ///< the figures that say so
  std::string next;                   ///< what to do or test next

  findings::FindingId id() const {
    std::vector<std::string> nodes = pins;
    std::sort(nodes.begin(), nodes.end());
    return {kind, part, std::move(nodes)};
  }
};

/// A driven coil's waveform and what was read from it, for the report.
struct CoilTrace {
  std::string coil;
  std::size_t event = 0;  ///< index of the Capture in the record's events
  waveform::CoilFigures figures;
};

/// One row of the lever table.
struct LeverRow {
  std::string position;
  std::vector<std::string> contacts;  ///< range lines, then start-permit and reverse where present
  std::vector<char> expected;         ///< '0' closed, '1' open, 'x' any
  std::vector<char> seen;             ///< '0', '1', or '?' where neither limit was met
};

struct Judgement {
  Verdict verdict = Verdict::hold;
  Level level = Level::static_;
  std::string why;   ///< the verdict's reason in one sentence
  std::string rule;  ///< decision rule and its risk
  std::vector<Result> results;
  std::vector<Finding> findings;
  std::vector<CoilTrace> traces;
  std::vector<LeverRow> lever;
  std::vector<std::string> not_tested;  ///< what this run did not look at, and why
  std::vector<std::string> cautions;    ///< of the work
};

}  // namespace pinproof::inspection
