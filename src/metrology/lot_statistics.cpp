#include "metrology/lot_statistics.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <numeric>
#include <stdexcept>

namespace pinproof::metrology {
namespace {

namespace bm = boost::math;

constexpr double kQuartilesOfNormal = 1.35;  // as AEC-Q001 rounds it
constexpr double kAverageLimits = 6;         // robust sigmas on each side (AEC-Q001)

// Boost counts terms by the square of half the noncentrality, in an int.
constexpr double kMostNoncentrality = 65000;

// The same for large t. By its definition noncentral t is (Z + delta) / S with S^2 chi-squared by
// nu over nu (Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 2, 31.1), so it
// lies below t where S lies above delta / t + Z / t, of which the last counts for nothing. What is
// left out is of the order of 1 / t^2 of the result.
double noncentrality_of_large(double nu, double t, double probability) {
  return t * std::sqrt(bm::quantile(bm::complement(bm::chi_squared(nu), probability)) / nu);
}

// Of a t distribution that lies below `t` with this probability: 3 sqrt(n) Ppk is such a t.
double noncentrality(double nu, double t, double probability) {
  const auto off = [&](double delta) {
    return bm::cdf(bm::non_central_t(nu, delta), t) - probability;
  };
  const double reach = 10 * std::sqrt(1 + t * t / (2 * nu)) + 10;
  if (std::abs(t) + reach > kMostNoncentrality)
    return t > 0 ? noncentrality_of_large(nu, t, probability)
                 : -noncentrality_of_large(nu, -t, 1 - probability);
  std::uintmax_t most = 200;
  const auto [low, high] = bm::tools::toms748_solve(off, t - reach, t + reach,
                                                    bm::tools::eps_tolerance<double>(46), most);
  return (low + high) / 2;
}

double esd_critical(double n, double step, double alpha) {
  const double left = n - step;  // after this step's value is out
  const double p = 1 - alpha / (2 * (left + 1));
  const double t = bm::quantile(bm::students_t(left - 1), p);
  return left * t / std::sqrt((left - 1 + t * t) * (left + 1));
}

}  // namespace

Robust robust_of(std::span<const double> values, double floor) {
  const auto sorted = sorted_of(values);
  Robust out{
      quantile_of_sorted(sorted, 0.5),
      (quantile_of_sorted(sorted, 0.75) - quantile_of_sorted(sorted, 0.25)) / kQuartilesOfNormal,
      false};
  if (out.sigma < floor) out.sigma = floor, out.floored = true;
  return out;
}

Interval part_average_limits(const Robust& robust, const Interval& specification) {
  return {std::max(robust.middle - kAverageLimits * robust.sigma, specification.low),
          std::min(robust.middle + kAverageLimits * robust.sigma, specification.high)};
}

double grubbs_critical(std::size_t n, double alpha, bool two_sided) {
  if (n < 3) throw std::domain_error("three values or more are wanted");
  const auto count = static_cast<double>(n);
  const double t = bm::quantile(
      bm::complement(bm::students_t(count - 2), alpha / (two_sided ? 2 * count : count)));
  return (count - 1) / std::sqrt(count) * std::sqrt(t * t / (count - 2 + t * t));
}

Esd generalised_esd(std::span<const double> values, std::size_t most, double alpha) {
  if (most + 2 >= values.size()) throw std::domain_error("too few values for so many outliers");
  std::vector<double> left(values.begin(), values.end());
  std::vector<std::size_t> index(values.size());
  std::iota(index.begin(), index.end(), std::size_t{0});
  Esd out;
  for (std::size_t step = 1; step <= most; ++step) {
    const Moments m = moments_of(left);
    if (!(m.sd > 0)) break;
    const auto far = std::max_element(left.begin(), left.end(), [&](double x, double y) {
      return std::abs(x - m.mean) < std::abs(y - m.mean);
    });
    const auto at = far - left.begin();
    out.steps.push_back(
        {index[static_cast<std::size_t>(at)], std::abs(*far - m.mean) / m.sd,
         esd_critical(static_cast<double>(values.size()), static_cast<double>(step), alpha)});
    if (out.steps.back().R > out.steps.back().lambda) out.outliers = step;
    left.erase(far);
    index.erase(index.begin() + at);
  }
  return out;
}

std::optional<Capability> capability_of(const Moments& moments, std::size_t n,
                                        const Interval& specification, double confidence) {
  if (!(moments.sd > 0) || n < 2) return std::nullopt;
  const auto count = static_cast<double>(n);
  const double nu = count - 1;
  Capability out;
  out.Pp = std::isfinite(specification.width()) ? specification.width() / (6 * moments.sd) : NAN;
  out.Ppk = std::min(moments.mean - specification.low, specification.high - moments.mean) /
            (3 * moments.sd);
  const bm::chi_squared chi(nu);
  const double tail = (1 - confidence) / 2;
  out.Pp_interval = {out.Pp * std::sqrt(bm::quantile(chi, tail) / nu),
                     out.Pp * std::sqrt(bm::quantile(chi, 1 - tail) / nu)};
  if (!std::isfinite(out.Ppk)) {  // no limit
    out.Ppk_interval = {out.Ppk, out.Ppk}, out.Ppk_lower = out.Ppk;
    return out;
  }
  const double z = bm::quantile(bm::normal(), 1 - tail);
  const double half = z * std::sqrt(1 / (9 * count) + out.Ppk * out.Ppk / (2 * nu));
  out.Ppk_interval = {out.Ppk - half, out.Ppk + half};
  const double scale = 3 * std::sqrt(count);
  out.Ppk_lower = noncentrality(nu, scale * out.Ppk, confidence) / scale;
  return out;
}

}  // namespace pinproof::metrology
