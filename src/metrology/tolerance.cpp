#include "metrology/tolerance.h"

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <numbers>
#include <stdexcept>

namespace pinproof::metrology {
namespace {

namespace bm = boost::math;

void expect(std::size_t n, double coverage, double confidence) {
  const auto inside = [](double p) { return p > 0 && p < 1; };
  if (n < 2 || !inside(coverage) || !inside(confidence))
    throw std::domain_error("n >= 2 and shares inside (0, 1) are wanted");
}

// r with Phi(z + r) - Phi(z - r) = coverage; Newton from above converges without overshoot.
double half_width(double z, double coverage) {
  const bm::normal normal;
  double r = std::max(bm::quantile(normal, (1 + coverage) / 2),
                      std::abs(z) + bm::quantile(normal, coverage));
  for (int i = 0; i < 60; ++i) {
    const double off = bm::cdf(normal, z + r) - bm::cdf(normal, z - r) - coverage;
    const double step = off / (bm::pdf(normal, z + r) + bm::pdf(normal, z - r));
    r -= step;
    if (std::abs(step) < 1e-14 * r) break;
  }
  return r;
}

double confidence_of(double k, double n, double coverage) {
  const double nu = n - 1;
  const bm::chi_squared chi(nu);
  const auto at = [&](double z) {
    const double r = half_width(z, coverage);
    return bm::cdf(bm::complement(chi, nu * r * r / (k * k))) * std::exp(-n * z * z / 2);
  };
  const double integral =
      bm::quadrature::gauss_kronrod<double, 61>::integrate(at, 0.0, 9 / std::sqrt(n), 8, 1e-12);
  return std::sqrt(2 * n / std::numbers::pi) * integral;
}

template <class Function>
double root(const Function& f, double guess, bool rising) {
  std::uintmax_t most = 200;
  const auto [low, high] = bm::tools::bracket_and_solve_root(
      f, guess, 1.5, rising, bm::tools::eps_tolerance<double>(48), most);
  return (low + high) / 2;
}

// Of n parts the coverage of least to greatest has a beta distribution.
double spread_confidence(double n, double kept_out, double coverage) {
  return bm::cdf(bm::complement(bm::beta_distribution<>(n + 1 - kept_out, kept_out), coverage));
}

}  // namespace

double two_sided_factor(std::size_t n, double coverage, double confidence) {
  expect(n, coverage, confidence);
  const auto count = static_cast<double>(n);
  const double howe = bm::quantile(bm::normal(), (1 + coverage) / 2) *
                      std::sqrt((count - 1) * (1 + 1 / count) /
                                bm::quantile(bm::chi_squared(count - 1), 1 - confidence));
  return root([&](double k) { return confidence_of(k, count, coverage) - confidence; }, howe, true);
}

double one_sided_factor(std::size_t n, double coverage, double confidence) {
  expect(n, coverage, confidence);
  const auto count = static_cast<double>(n);
  const bm::non_central_t t(count - 1, bm::quantile(bm::normal(), coverage) * std::sqrt(count));
  return bm::quantile(t, confidence) / std::sqrt(count);
}

std::size_t wilks_n(double coverage, double confidence, std::size_t dropped, bool two_sided) {
  expect(2, coverage, confidence);
  const double kept_out = static_cast<double>(dropped) + (two_sided ? 2 : 1);
  std::size_t n = dropped + (two_sided ? 2 : 1);
  while (spread_confidence(static_cast<double>(n), kept_out, coverage) < confidence) ++n;
  return n;
}

double min_max_coverage(std::size_t n, double confidence) {
  expect(n, 0.5, confidence);
  return bm::quantile(bm::beta_distribution<>(static_cast<double>(n) - 1, 2), 1 - confidence);
}

double min_max_confidence(std::size_t n, double coverage) {
  expect(n, coverage, 0.5);
  return spread_confidence(static_cast<double>(n), 2, coverage);
}

}  // namespace pinproof::metrology
