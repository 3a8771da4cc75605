// How far limits learned from a few lots can be trusted for lots to come, where lots differ. Pure,
// and the same at each call.
#pragma once

#include <cstddef>
#include <span>

#include "metrology/robust_tolerance.h"

namespace pinproof::metrology {

enum class LimitMethod {
  normal,         ///< mean +- k s
  nonparametric,  ///< least to greatest
  robust          ///< median +- k robust sigma
};

/// Limits drawn from parts in lots. The values are normal, with a share `rho` of the total variance
/// between lots (0 to 1): each lot has a middle of its own.
struct LotModel {
  double coverage = 0.99;  ///< of the parts of all lots to come that the limits are to cover
  double rho = 0;
  LimitMethod method = LimitMethod::normal;
  SpreadMeasure spread = SpreadMeasure::iqr;  ///< of LimitMethod::robust
  double k = 0;                               ///< not of LimitMethod::nonparametric
};

/// Probability that such limits from J lots of m parts cover `model.coverage` of future lots'
/// parts, LimitMethod::normal whatever the model says: the mean is normal, (n - 1) s^2 the sum of
/// two chi-squared variables, both independent; by quadrature to 1e-6. J m >= 2; std::domain_error
/// otherwise.
double normal_lot_confidence(std::size_t J, std::size_t m, const LotModel& model);

/// The same for any method and lot sizes, by 20 000 simulated studies (fewer above 100 parts):
/// standard error 0.0035 at most up to 100 parts, 0.005 at 200, 0.011 from 1000 on.
double simulated_lot_confidence(std::span<const std::size_t> sizes, const LotModel& model);

/// What the confidence of mean +- k s comes to, k being the exact factor of J m parts for
/// `coverage` and `confidence`, where a share `rho` of the variance is between lots.
double confidence_with_lot_share(std::size_t J, std::size_t m, double coverage, double confidence,
                                 double rho);

}  // namespace pinproof::metrology
