#include "metrology/mcd_correction.h"

#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

namespace pinproof::metrology {
namespace {

constexpr double kMostFactor = 5;  // below 2 where the formula was fitted

// The paper's coefficients: {alpha, beta} at q = 2 and q = 3 for p > 2, else {exponent, power}.
struct Coefficients {
  double q2[2], q3[2], p1[2], p2[2];
};
constexpr Coefficients kRaw{{-1.42764571687802, 1.26263336932151},
                            {-1.06141115981725, 1.28907991440387},
                            {0.262024211897096, 0.604756680630497},
                            {0.673292623522027, 0.691365864961895}};
constexpr Coefficients kReweighted{{-1.02842572724793, 1.67659883081926},
                                   {-0.26800273450853, 1.35968562893582},
                                   {1.11098143415027, 1.5182890270453},
                                   {3.11101712909049, 1.91401056721863}};

}  // namespace

double mcd_consistency(double p, double kept) {
  namespace bm = boost::math;
  if (kept >= 1) return 1;
  return kept / bm::cdf(bm::chi_squared(p + 2), bm::quantile(bm::chi_squared(p), kept));
}

std::optional<double> mcd_small_sample(double p, double n, McdStage stage) {
  const Coefficients& c = stage == McdStage::raw ? kRaw : kReweighted;
  double exponent = p < 2 ? c.p1[0] : c.p2[0], power = p < 2 ? c.p1[1] : c.p2[1];
  if (p > 2) {
    // 1 - exp(exponent) / n^power goes through 1 + alpha / p^beta at n = q p^2, q 2 and 3.
    const double at_2 = std::log(-c.q2[0]) - c.q2[1] * std::log(p);
    const double at_3 = std::log(-c.q3[0]) - c.q3[1] * std::log(p);
    power = (at_2 - at_3) / std::log(1.5);
    exponent = at_2 + power * std::log(2 * p * p);
  }
  const double factor = 1 / (1 - std::exp(exponent) / std::pow(n, power));
  if (!(factor > 0 && factor <= kMostFactor)) return std::nullopt;
  return factor;
}

}  // namespace pinproof::metrology
