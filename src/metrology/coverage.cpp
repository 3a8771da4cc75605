#include "metrology/coverage.h"

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <stdexcept>

namespace pinproof::metrology {
namespace {

// Twice integrated normal distribution: ((x^2 + s^2) Phi(x / s) + x s phi(x / s)) / 2.
double twice_integrated(double x, double sd) {
  const boost::math::normal unit;
  const double z = x / sd;
  return ((x * x + sd * sd) * boost::math::cdf(unit, z) + x * sd * boost::math::pdf(unit, z)) / 2;
}

void require(bool in_range, const char* what) {
  if (!in_range) throw std::domain_error(what);
}

}  // namespace

double student_factor(double coverage, double degrees_of_freedom) {
  require(coverage > 0 && coverage < 1 && degrees_of_freedom >= 1,
          "student_factor: 0 < coverage < 1 and degrees of freedom of 1 or more are wanted");
  const double tail = (1 + coverage) / 2;
  if (!std::isfinite(degrees_of_freedom)) return boost::math::quantile(boost::math::normal(), tail);
  return boost::math::quantile(boost::math::students_t(degrees_of_freedom), tail);
}

double trapezoid_factor(double coverage, double beta) {
  require(coverage > 0 && coverage < 1 && beta >= 0 && beta <= 1,
          "trapezoid_factor: 0 < coverage < 1 and 0 <= beta <= 1 are wanted");
  const double sd = std::sqrt((1 + beta * beta) / 6);  // of a trapezoid as wide as -1 to 1
  const bool on_the_top = coverage <= 2 * beta / (1 + beta);
  const double half_width =
      on_the_top ? coverage * (1 + beta) / 2 : 1 - std::sqrt((1 - coverage) * (1 - beta * beta));
  return half_width / sd;
}

double convolved_half_width(double coverage, double sd, double a, double b) {
  require(coverage > 0 && coverage < 1 && sd > 0 && a > 0 && b > 0,
          "convolved_half_width: 0 < coverage < 1 and widths above 0 are wanted");
  const auto below = [&](double x) {
    return (twice_integrated(x + a + b, sd) - twice_integrated(x + a - b, sd) -
            twice_integrated(x - a + b, sd) + twice_integrated(x - a - b, sd)) /
           (4 * a * b);
  };
  double low = 0, high = a + b + 40 * sd;
  for (int i = 0; i < 200; ++i) {
    const double middle = (low + high) / 2;
    (below(middle) < (1 + coverage) / 2 ? low : high) = middle;
  }
  return (low + high) / 2;
}

}  // namespace pinproof::metrology
