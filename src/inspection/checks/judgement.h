// What a record says about a pack: one result a check, findings with their
// evidence, and the verdict. A pure function of (profile, record): see judge.h.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quantity/quantity.h"
#include "waveform/coil_figures.h"

namespace pinproof::inspection {

enum class Outcome { pass, fail, undecided, skipped, bench_fault };
enum class Verdict { accept, reject, hold };
enum class Level { static_, full };

/// Of two judgements of one pack the one that counts: reject before hold before accept.
inline Verdict worse(Verdict a, Verdict b) {
  if (a == Verdict::reject || b == Verdict::reject) return Verdict::reject;
  return a == Verdict::hold ? a : b;
}

std::string_view name_of(
    Outcome outcome);  ///< "pass", "fail", "undecided", "skipped", "bench-fault"
std::string_view name_of(Verdict verdict);  ///< "accept", "reject", "hold"
std::string_view name_of(Level level);      ///< "static", "full"

/// One thing that must hold.
struct Result {
  std::string check;    ///< kind: "coil-resistance"
  std::string subject;  ///< part, pin or circuit
  std::string title;    ///< "Coil A: resistance at 20 °C"
  Outcome outcome = Outcome::undecided;
  bool required = true;
  std::optional<Estimate> value;  ///< what was judged, where it is a number
  Unit unit = Unit::none;
  std::optional<Interval> limit;
  double guard_band = 0;          ///< w in the unit of value
  std::string text;               ///< the reason in words: figures, limits, what was seen
  std::vector<std::string> pins;  ///< nodes touched
};

/// A named fault with its evidence.
struct Finding {
  std::string kind;  ///< "shorted-turns", "coil-open", "lost-ground", ...
  std::string part;
  std::string text;                   ///< one sentence for the person at the bench
  std::vector<std::string> pins;      ///< where to look
  std::vector<std::string> evidence;  ///< the figures that say so
  std::string next;                   ///< what to do or test next
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
