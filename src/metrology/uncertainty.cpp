#include "metrology/uncertainty.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "metrology/coverage.h"
#include "quantity/error.h"

namespace pinproof::metrology {

double rectangular(double half_width) { return half_width / std::sqrt(3.0); }

double resolution(double one_digit) { return one_digit / std::sqrt(12.0); }

Combined combine(std::span<const Contribution> budget) {
  double variance = 0;
  double spread = 0;  // sum of (c u)^4 / nu
  for (const Contribution& c : budget) {
    const double part = std::pow(c.sensitivity * c.u, 2);
    variance += part;
    if (c.degrees_of_freedom > 0) spread += part * part / c.degrees_of_freedom;
  }
  return {std::sqrt(variance),
          spread > 0 ? variance * variance / spread : std::numeric_limits<double>::infinity()};
}

double combine_correlated(std::span<const Contribution> budget,
                          std::span<const double> correlation) {
  const std::size_t n = budget.size();
  if (correlation.size() != n * n)
    throw Error(Fault::usage, "correlation of " + std::to_string(correlation.size()) +
                                  " entries for " + std::to_string(n) + " inputs");
  double variance = 0;
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = 0; j < n; ++j)
      variance += budget[i].sensitivity * budget[i].u * budget[j].sensitivity * budget[j].u *
                  correlation[i * n + j];
  return std::sqrt(std::max(0.0, variance));
}

double coverage_factor(double coverage, double degrees_of_freedom) {
  if (!(coverage > 0 && coverage < 1) || !(degrees_of_freedom >= 1))
    throw Error(Fault::usage,
                "coverage factor: 0 < coverage < 1 and degrees of freedom of 1 or more are wanted");
  return student_factor(coverage, std::floor(degrees_of_freedom));
}

std::vector<double> sensitivities(const std::function<double(std::span<const double>)>& f,
                                  std::span<const double> x, std::span<const double> u) {
  std::vector<double> at(x.begin(), x.end());
  std::vector<double> out;
  for (std::size_t i = 0; i < at.size(); ++i) {
    const double step = u[i] > 0 ? u[i] / 10 : std::max(1e-6, 1e-6 * std::abs(x[i]));
    at[i] = x[i] + step;
    const double above = f(at);
    at[i] = x[i] - step;
    out.push_back((above - f(at)) / (2 * step));
    at[i] = x[i];
  }
  return out;
}

}  // namespace pinproof::metrology
