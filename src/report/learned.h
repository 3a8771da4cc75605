// Limits learned from packs known to be good: for people, for programs, and drawn.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "metrology/learned.h"
#include "quantity/quantity.h"
#include "report/markup.h"

namespace pinproof::report {

enum class Fate {
  learned,   ///< goes into a new profile
  refused,   ///< such values do not make limits
  wider,     ///< than the present limit at an end, and that was not allowed
  gaps,      ///< no limit so far, and some good packs gave no number: a limit would hold the like
  unusable,  ///< no profile may hold them, or this bench could prove no pack inside
};

/// One limit of the profile.
struct LearnedFigure {
  std::string pointer;  ///< in the profile: "/parts/3/pull_in_s"
  std::string title;    ///< "Coil A: time to seating"
  Unit unit = Unit::none;
  std::optional<Interval> present;
  metrology::ValuesByLot lots;       ///< values as judged, by LearnedCase::lots
  std::size_t without_value = 0;     ///< packs that were judged but gave no number
  metrology::LearnedLimits learned;  ///< of these values
  double wires_max_ohm = 0;          ///< that the check adds to the high limit: taken off it
  std::optional<Interval> limits;    ///< as a profile would hold them, rounded
  double guard_share = std::numeric_limits<double>::quiet_NaN();  ///< of the width, both bands
  /// With one lot: the confidence, if this share of the variance were between lots.
  std::vector<std::pair<double, double>> if_between;
  std::string evidence;  ///< SHA-256 of the sorted record ids with their values
  Fate fate = Fate::refused;
  std::string why;  ///< of a fate that is not `learned`
};

struct LearnedCase {
  std::string profile, old_hash;
  std::string ledger, date;
  metrology::Learning how;
  std::size_t packs = 0, judged_again = 0;
  std::vector<std::string> lots;                              ///< of the packs
  std::vector<std::pair<std::string, std::size_t>> left_out;  ///< reason and packs
  std::size_t rejected = 0;                                   ///< of those left out
  std::vector<LearnedFigure> figures;
  std::string out, new_hash;  ///< file that was written and its hash; empty: none

  std::size_t learned() const;
  /// Too few lots is why nothing was learned.
  bool one_lot_refused() const;
};

/// Where a limit comes from, for the profile's "sources".
std::string learned_source(const LearnedCase& one, const LearnedFigure& figure);

std::string learned_text(const LearnedCase& one);
std::string learned_json(const LearnedCase& one);
/// A page of its own with the values of each figure drawn by lot.
std::string learned_html(const LearnedCase& one);
/// One figure's values by lot with its limits, as SVG; so many lots at most.
inline constexpr std::size_t kLearnedRows = 30;
Markup learned_plot(const LearnedCase& one, const LearnedFigure& figure);

}  // namespace pinproof::report
