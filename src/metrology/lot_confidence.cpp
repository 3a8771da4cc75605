#include "metrology/lot_confidence.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <numbers>
#include <numeric>
#include <random>
#include <stdexcept>
#include <vector>

#include "metrology/tolerance.h"

namespace pinproof::metrology {
namespace {

namespace bm = boost::math;
using QuadratureRule = bm::quadrature::gauss_kronrod<double, 31>;

constexpr double kStudies = 20000, kFewestStudies = 2000;
constexpr double kParts = 2e6;  // drawn in all, at most
constexpr std::uint64_t kSeed = 1992;

double above(double nu, double x) {
  if (nu < 0.5) return x > 0 ? 0 : 1;  // no degree of freedom: nothing but 0
  return x > 0 ? bm::cdf(bm::complement(bm::chi_squared(nu), x)) : 1;
}

// P(a X + b Y > q) for chi-squared X and Y. Over t = sqrt(X), whose density is smooth from one
// degree of freedom on.
double sum_above(double a, double nu_x, double b, double nu_y, double q) {
  if (b <= 0 || nu_y < 0.5) return a > 0 ? above(nu_x, q / a) : 0;
  if (a <= 0 || nu_x < 0.5) return above(nu_y, q / b);
  const double most = std::sqrt(q / a);  // alone enough from here on
  const double scale = (1 - nu_x / 2) * std::numbers::ln2 - std::lgamma(nu_x / 2);
  const auto at = [&](double t) {
    return std::exp(scale + (nu_x - 1) * std::log(t) - t * t / 2) *
           above(nu_y, (q - a * t * t) / b);
  };
  const double end = std::min(most, std::sqrt(nu_x) + 9);
  return above(nu_x, most * most) + QuadratureRule::integrate(at, 0.0, end, 6, 1e-8);
}

void expect(bool good) {
  if (!good)
    throw std::domain_error("two parts, a share inside (0, 1) and rho of 0 to 1 are wanted");
}

bool usable(const LotModel& model) {
  return model.coverage > 0 && model.coverage < 1 && model.rho >= 0 && model.rho <= 1;
}

// Parts of lots, of variance 1 in all.
void draw(std::span<const std::size_t> sizes, double rho, std::mt19937_64& random,
          std::normal_distribution<double>& normal, std::vector<double>& parts) {
  const double between = std::sqrt(rho), within = std::sqrt(1 - rho);
  parts.clear();
  for (const std::size_t size : sizes) {
    const double middle = between * normal(random);
    for (std::size_t i = 0; i < size; ++i) parts.push_back(middle + within * normal(random));
  }
}

Interval limits_of(std::span<const double> parts, const LotModel& model) {
  if (model.method == LimitMethod::nonparametric) {
    const auto [least, greatest] = std::minmax_element(parts.begin(), parts.end());
    return {*least, *greatest};
  }
  if (model.method == LimitMethod::robust) {
    const Robust robust = robust_of(parts, model.spread);
    return {robust.middle - model.k * robust.sigma, robust.middle + model.k * robust.sigma};
  }
  const Moments moments = moments_of(parts);
  return {moments.mean - model.k * moments.sd, moments.mean + model.k * moments.sd};
}

}  // namespace

double normal_lot_confidence(std::size_t J, std::size_t m, const LotModel& model) {
  expect(J > 0 && m > 0 && J * m >= 2 && model.k > 0 && usable(model));
  const auto lots = static_cast<double>(J), size = static_cast<double>(m), n = lots * size;
  const double within = 1 - model.rho, between = size * model.rho + within;  // of the mean squares
  const double of_mean = std::sqrt(between / n);
  const auto at = [&](double z) {
    const double r = covering_half_width(z * of_mean, model.coverage) / model.k;
    return std::exp(-z * z / 2) *
           sum_above(between, lots - 1, within, lots * (size - 1), (n - 1) * r * r);
  };
  return std::sqrt(2 / std::numbers::pi) * QuadratureRule::integrate(at, 0.0, 8.0, 5, 1e-7);
}

double simulated_lot_confidence(std::span<const std::size_t> sizes, const LotModel& model) {
  const std::size_t n = std::accumulate(sizes.begin(), sizes.end(), std::size_t{0});
  expect(n >= 2 && usable(model));
  const auto studies = static_cast<std::size_t>(
      std::clamp(kParts / static_cast<double>(n), kFewestStudies, kStudies));
  const auto Phi = [](double z) { return std::erfc(-z / std::numbers::sqrt2) / 2; };
  std::mt19937_64 random(kSeed);
  std::normal_distribution<double> normal;
  std::vector<double> parts;
  std::size_t good = 0;
  for (std::size_t i = 0; i < studies; ++i) {
    draw(sizes, model.rho, random, normal, parts);
    const Interval limits = limits_of(parts, model);
    if (Phi(limits.high) - Phi(limits.low) >= model.coverage) ++good;
  }
  return static_cast<double>(good) / static_cast<double>(studies);
}

double confidence_with_lot_share(std::size_t J, std::size_t m, double coverage, double confidence,
                                 double rho) {
  expect(J > 0 && m > 0 && J * m >= 2);
  LotModel model;
  model.coverage = coverage, model.rho = rho,
  model.k = two_sided_factor(J * m, coverage, confidence);
  return normal_lot_confidence(J, m, model);
}

}  // namespace pinproof::metrology
