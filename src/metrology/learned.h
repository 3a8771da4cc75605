// Limits learned from parts known to be good, and how far they can be trusted. Pure, and the same
// at each call.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "metrology/lot_confidence.h"
#include "quantity/quantity.h"

namespace pinproof::metrology {

/// Values by lot; a lot without values does not count.
using ValuesByLot = std::vector<std::vector<double>>;

enum class LearnRefusal {
  none,
  not_finite,           ///< a value is no number
  too_few_parts,        ///< fewer than 3
  one_lot,              ///< and few lots are not allowed: what lots differ by is unknown
  no_spread,            ///< all alike, and nothing is known of resolution and repeatability
  too_few_for_min_max,  ///< fewer than wilks_n
  too_few_for_robust    ///< fewer than 7
};
/// In words; "" for none.
std::string refusal_text(LearnRefusal refusal);

struct Learning {
  double coverage = 0.99, confidence = 0.95;  ///< inside (0, 1)
  LimitMethod method = LimitMethod::normal;
  SpreadMeasure spread = SpreadMeasure::iqr;  ///< of LimitMethod::robust
  double resolution = 0, repeatability = 0;   ///< one digit; standard deviation of repeats; >= 0
  bool allow_few_lots = false;                ///< one lot is a warning, not a refusal
  /// Share of the variance between lots for future_confidence with one lot, which tells nothing of
  /// it; NaN: unknown.
  double assumed_lot_share = std::numeric_limits<double>::quiet_NaN();
};

/// Look at normality: Anderson-Darling, mean and deviation estimated (case 3), A2 times
/// 1 + 0.75 / n + 2.25 / n^2, p by the formulas of D'Agostino and Stephens 1986, table 4.9. NaN
/// below 8 values or without spread.
struct Normality {
  double A2 = std::numeric_limits<double>::quiet_NaN();  ///< A2*
  double p = std::numeric_limits<double>::quiet_NaN();
};
Normality normality_of(std::span<const double> values);
/// p of A2* alone; A2* >= 0.
double normality_p(double A2);

/// Share of the variance that is between lots, one-way analysis of variance with random effects;
/// lots of different sizes by their effective size. NaN with one lot, with no lot of two parts, and
/// without any spread.
struct LotShare {
  double rho = std::numeric_limits<double>::quiet_NaN();  ///< raw, not below 0
  double raw = std::numeric_limits<double>::quiet_NaN();  ///< negative by chance
};
LotShare lot_share_of(const ValuesByLot& lots);

struct LearnedLimits {
  std::optional<Interval> limits;  ///< none where refused
  LearnRefusal refusal = LearnRefusal::none;
  std::size_t n = 0, lots = 0;
  double mean = std::numeric_limits<double>::quiet_NaN();
  double sd = std::numeric_limits<double>::quiet_NaN();  ///< as measured
  /// What the limits are built on, middle +- k sigma; sigma is held above resolution / sqrt(12) and
  /// repeatability. NaN for LimitMethod::nonparametric.
  double middle = std::numeric_limits<double>::quiet_NaN();
  double sigma = std::numeric_limits<double>::quiet_NaN();
  double k = std::numeric_limits<double>::quiet_NaN();
  bool floored = false;  ///< sigma is its floor: limits are wider than k and the values make them
  /// For parts of like lots, all parts independent: as asked, or, of least to greatest, what it
  /// comes to, also where refused.
  double confidence = std::numeric_limits<double>::quiet_NaN();
  /// That the limits cover the asked share of the parts of lots to come, with the share between
  /// lots as estimated (an estimate of few lots is itself poor) or assumed; floors left out of
  /// account. NaN where that is unknown or limits are refused.
  double future_confidence = std::numeric_limits<double>::quiet_NaN();
  LotShare lot_share;
  Normality normality;       ///< of all values together
  bool provisional = false;  ///< fewer than 10 parts
  bool few_lots = false;     ///< fewer than 5
  bool not_normal = false;   ///< p below 0.05
};

/// Whether limits may be learned at all. Throws std::domain_error for an unusable `how`.
LearnRefusal refusal_of(const ValuesByLot& lots, const Learning& how);

/// Limits from the values. Nothing is dropped, and but for the floor nothing widened. Throws
/// std::domain_error for an unusable `how`.
LearnedLimits learn_limits(const ValuesByLot& lots, const Learning& how);

}  // namespace pinproof::metrology
