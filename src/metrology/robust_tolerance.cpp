#include "metrology/robust_tolerance.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <stdexcept>
#include <vector>

#include "metrology/tolerance.h"
#include "quantity/statistics.h"

namespace pinproof::metrology {
namespace {

namespace bm = boost::math;

constexpr double kMadOfNormal = 1.4826;
constexpr double kIqrOfNormal = 1.3489795003921634;  // what 1.35 is rounded from
constexpr std::size_t kLeast = 7;

// ln(k / normal k) = z(confidence) kBroader / sqrt(n) + sum of c_j n^(-1 - j / 2), j 0 to 3, for
// each pair and remainder of n (by 2: median; by 4: quartiles). The first term is what the large-n
// deviations of ln sigma differ by: 1.166465 / sqrt(n) of both robust ones (Hampel et al. 1986),
// 1 / sqrt(2 n) of s. The c_j are least squares on simulated factors: each n of 7 to 40 and 28 of
// 44 to 200 with 4 million samples, 300 to 303 with 2 million, 800 to 803 with 1 million;
// chi-squared per degree of freedom 1.1 in the mean, 2.2 at most.
constexpr double kBroader = 1.166465 - 0.707107;
constexpr double kMad[3][2][4] = {
    {{1.567303, 0.362135, -1.912999, 1.979080}, {1.548597, 1.950764, -5.103718, 14.387319}},
    {{1.580974, 0.016370, -0.859287, 1.106189}, {1.568957, 1.519483, -3.773318, 13.145418}},
    {{2.200570, -0.653763, 5.323416, -10.417136}, {2.069579, 3.268331, -7.105697, 21.628371}}};
constexpr double kIqr[3][4][4] = {{{2.263708, -2.092615, 3.769850, -15.822435},
                                   {2.235637, 0.325194, -0.189471, 7.256286},
                                   {2.261270, -2.084478, 4.123924, -6.582060},
                                   {2.231322, -1.799093, -1.500401, -3.755779}},
                                  {{2.279924, -2.503506, 5.596681, -18.177379},
                                   {2.241570, 0.142077, 0.216386, 7.400337},
                                   {2.271801, -2.384613, 5.287367, -7.746147},
                                   {2.250699, -2.252949, 0.456843, -6.223406}},
                                  {{2.834290, -2.918439, 8.715763, -33.981976},
                                   {2.665443, 2.579229, -6.560969, 20.909972},
                                   {2.795943, -2.259439, 6.451374, -10.359745},
                                   {2.775008, -2.108339, -1.442721, -8.139264}}};

struct TabledPair {
  double coverage, confidence;
};
constexpr TabledPair kPairs[3] = {{0.95, 0.95}, {0.99, 0.95}, {0.99, 0.99}};

constexpr double kDraws = 4e6;  // normal values of a simulation at the call
constexpr std::uint64_t kSeed = 1974;

void expect(std::size_t n, double coverage, double confidence) {
  const auto inside = [](double p) { return p > 0 && p < 1; };
  if (n < kLeast || !inside(coverage) || !inside(confidence))
    throw std::domain_error("n >= 7 and shares inside (0, 1) are wanted");
}

double smoothed_ratio(std::size_t n, std::size_t pair, SpreadMeasure spread) {
  const auto count = static_cast<double>(n);
  const double root = 1 / std::sqrt(count);
  const double* c = spread == SpreadMeasure::mad ? kMad[pair][n % 2] : kIqr[pair][n % 4];
  const double first = bm::quantile(bm::normal(), kPairs[pair].confidence) * kBroader * root;
  const double rounding = spread == SpreadMeasure::iqr ? std::log(1.35 / kIqrOfNormal) : 0;
  const double rest = c[0] + root * (c[1] + root * (c[2] + root * c[3]));
  return std::exp(rounding + first + rest / count);
}

}  // namespace

Robust robust_of(std::span<const double> values, SpreadMeasure spread, double floor) {
  if (spread == SpreadMeasure::iqr) return robust_of(values, floor);
  if (values.empty()) throw std::domain_error("no values");
  std::vector<double> work(values.begin(), values.end());
  Robust out;
  out.middle = median_in_place(work);
  for (double& x : work) x = std::abs(x - out.middle);
  out.sigma = kMadOfNormal * median_in_place(work);
  if (out.sigma < floor) out.sigma = floor, out.floored = true;
  return out;
}

double robust_factor(std::size_t n, double coverage, double confidence, SpreadMeasure spread) {
  expect(n, coverage, confidence);
  const double normal = two_sided_factor(n, coverage, confidence);
  for (std::size_t i = 0; i < std::size(kPairs); ++i)
    if (std::abs(kPairs[i].coverage - coverage) < 1e-12 &&
        std::abs(kPairs[i].confidence - confidence) < 1e-12)
      return normal * std::max(1.0, smoothed_ratio(n, i, spread));
  const double runs = std::clamp(kDraws / static_cast<double>(n), 200.0, 2e5);
  return std::max(normal, simulated_robust_factor(n, coverage, confidence, spread,
                                                  static_cast<std::size_t>(runs), kSeed));
}

double simulated_robust_factor(std::size_t n, double coverage, double confidence,
                               SpreadMeasure spread, std::size_t runs, std::uint64_t seed) {
  expect(n, coverage, confidence);
  if (runs == 0) throw std::domain_error("no runs");
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<double> sample(n), wanted(runs);
  for (double& k : wanted) {
    for (double& x : sample) x = normal(random);
    const Robust robust = robust_of(sample, spread);
    k = covering_half_width(robust.middle, coverage) / robust.sigma;
  }
  const double rank = confidence * static_cast<double>(runs);
  return value_at_rank(wanted, std::min(runs - 1, static_cast<std::size_t>(rank)));
}

double covering_half_width(double off, double coverage) {
  // Newton from above converges without overshoot.
  const auto Phi = [](double z) { return std::erfc(-z / std::numbers::sqrt2) / 2; };
  const bm::normal normal;
  const double z = std::abs(off);
  double r = std::max(bm::quantile(normal, (1 + coverage) / 2), z + bm::quantile(normal, coverage));
  for (int i = 0; i < 60; ++i) {
    const double low = z - r, high = z + r;
    const double density =
        (std::exp(-low * low / 2) + std::exp(-high * high / 2)) / std::sqrt(2 * std::numbers::pi);
    const double step = (Phi(high) - Phi(low) - coverage) / density;
    r -= step;
    if (std::abs(step) < 1e-13 * r) break;
  }
  return r;
}

}  // namespace pinproof::metrology
