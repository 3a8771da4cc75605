#include "metrology/decision.h"

#include <cmath>

#include "quantity/text.h"

namespace pinproof::metrology {
namespace {

double phi(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

}  // namespace

Conformity decide(const Estimate& value, const Interval& limit, double r) {
  if (!value.usable()) return Conformity::undecided;
  const double w = r * 2 * value.u;
  if (value.value < limit.low - w || value.value > limit.high + w) return Conformity::outside;
  if (value.value >= limit.low + w && value.value <= limit.high - w) return Conformity::inside;
  return Conformity::undecided;
}

double conformance_probability(const Estimate& value, const Interval& limit) {
  return phi((limit.high - value.value) / value.u) - phi((limit.low - value.value) / value.u);
}

double specific_risk(double r) { return phi(-2 * r); }

std::string rule_text(double r) {
  return "Guard band w = " + format_si(r, Unit::none, 3) +
         " U (U at k = 2) on both sides of each limit, after ISO 14253-1 and JCGM 106: inside by w "
         "passes, outside by w fails, between is undecided. Specific risk at an acceptance limit " +
         format_si(100 * specific_risk(r), Unit::percent, 2) + ".";
}

}  // namespace pinproof::metrology
