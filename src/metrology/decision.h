// Whether a measured value conforms: guard-banded acceptance and rejection
// (ISO 14253-1:2017, JCGM 106:2012).
#pragma once

#include <string>

#include "quantity/quantity.h"

namespace pinproof::metrology {

enum class Conformity { inside, outside, undecided };

/// w = r * 2u on both sides of each limit: inside by w conforms, outside by w
/// does not, between is undecided. An infinite end is no limit. A value or
/// uncertainty that is not a number is undecided, never inside.
Conformity decide(const Estimate& value, const Interval& limit, double r);

/// P(value conforms) = Phi((high - y)/u) - Phi((low - y)/u), JCGM 106 eq. for a
/// normal state of knowledge. u > 0.
double conformance_probability(const Estimate& value, const Interval& limit);

/// Probability that an item at the acceptance limit does not conform:
/// 1 - Phi(2 r), one-sided.
double specific_risk(double r);

/// The rule in words: "guard band w = 1.00 U (k = 2) ... specific risk ... 2.3 %".
std::string rule_text(double r);

}  // namespace pinproof::metrology
