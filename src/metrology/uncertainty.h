// Combined and expanded uncertainty after JCGM 100 (the GUM).
#pragma once

#include <functional>
#include <span>
#include <string>
#include <vector>

namespace pinproof::metrology {

/// One input of a budget, as a standard uncertainty (k = 1).
struct Contribution {
  std::string name;
  double u = 0;                   ///< >= 0, in the input's unit
  double sensitivity = 1;         ///< d(result)/d(input)
  double degrees_of_freedom = 0;  ///< 0: known exactly (infinite)
};

/// Half width of a rectangle to a standard uncertainty: a / sqrt(3) (4.3.7).
double rectangular(double half_width);
/// Resolution (one digit) to a standard uncertainty: q / sqrt(12) (F.2.2.1).
double resolution(double one_digit);

struct Combined {
  double u = 0;
  double degrees_of_freedom = 0;  ///< Welch-Satterthwaite, G.2b; infinite when all inputs are
};

/// Independent inputs (5.1.2, G.4.1).
Combined combine(std::span<const Contribution> budget);

/// Correlated inputs (5.2.2): `correlation` row by row, n by n.
double combine_correlated(std::span<const Contribution> budget,
                          std::span<const double> correlation);

/// k of Student's t for a coverage such as 0.9545 at nu degrees of freedom,
/// truncated to a whole number as G.4.1 does; infinite nu gives the normal's.
/// nu >= 1, 0 < coverage < 1.
double coverage_factor(double coverage, double degrees_of_freedom);

/// Numeric sensitivities of f at x by central differences, step = u or, where
/// that is 0, a small part of x.
std::vector<double> sensitivities(const std::function<double(std::span<const double>)>& f,
                                  std::span<const double> x, std::span<const double> u);

}  // namespace pinproof::metrology
