#include "quantity/statistics.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <stdexcept>

namespace pinproof {

double mean_of(std::span<const double> values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

Moments moments_of(std::span<const double> values) {
  if (values.size() < 2) throw std::domain_error("two values or more are wanted");
  const auto n = static_cast<double>(values.size());
  const double rough = mean_of(values);
  double rest = 0;
  for (const double x : values) rest += x - rough;
  const double mean = rough + rest / n;
  double squares = 0;
  for (const double x : values) squares += (x - mean) * (x - mean);
  return {mean, std::sqrt(squares / (n - 1))};
}

double value_at_rank(std::span<double> values, std::size_t rank) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

double median_in_place(std::span<double> values) {
  const std::size_t half = values.size() / 2;
  const double upper = value_at_rank(values, half);
  if (values.size() % 2 == 1) return upper;
  return (*std::max_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(half)) +
          upper) /
         2;
}

double median_of(std::vector<double> values) { return median_in_place(values); }

double upper_median_of(std::vector<double> values) {
  return value_at_rank(values, values.size() / 2);
}

double quantile_of_sorted(std::span<const double> rising, double p) {
  const double at = p * static_cast<double>(rising.size() - 1);
  const auto below = static_cast<std::size_t>(at);
  const std::size_t above = std::min(below + 1, rising.size() - 1);
  return rising[below] + (at - static_cast<double>(below)) * (rising[above] - rising[below]);
}

double quantile_of(std::span<const double> values, double p) {
  return quantile_of_sorted(sorted_of(values), p);
}

std::vector<double> sorted_of(std::span<const double> values) {
  if (values.empty()) throw std::domain_error("no values");
  std::vector<double> out(values.begin(), values.end());
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace pinproof
