// The half of robust_distance.h that is about one part against its fellows.
#include <Eigen/Dense>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <stdexcept>

#include "metrology/robust_distance.h"

namespace pinproof::metrology {
namespace {

namespace bm = boost::math;

using Eigen::MatrixXd;
using Eigen::VectorXd;

std::vector<double> plain(const VectorXd& v) { return {v.data(), v.data() + v.size()}; }

void expect(bool good) {
  if (!good) throw std::domain_error("p >= 1, n > p and a probability inside (0, 1) are wanted");
}

}  // namespace

double distance_cutoff_chi2(std::size_t p, double probability) {
  expect(p >= 1 && probability > 0 && probability < 1);
  return bm::quantile(bm::chi_squared(static_cast<double>(p)), probability);
}

double distance_cutoff_new_part(std::size_t p, std::size_t n, double probability) {
  expect(p >= 1 && n > p && probability > 0 && probability < 1);
  const auto variables = static_cast<double>(p), parts = static_cast<double>(n);
  return variables * (parts - 1) * (parts + 1) / (parts * (parts - variables)) *
         bm::quantile(bm::fisher_f(variables, parts - variables), probability);
}

DistanceShares distance_shares(std::span<const double> row, std::span<const double> centre,
                               std::span<const double> covariance) {
  const auto p = static_cast<Eigen::Index>(row.size());
  if (p == 0 || centre.size() != row.size() || covariance.size() != row.size() * row.size())
    throw std::domain_error("row, centre and covariance are not of one size");
  const MatrixXd S = MatrixXd::Map(covariance.data(), p, p);
  const VectorXd deviation = S.diagonal().cwiseSqrt();
  if (!(deviation.minCoeff() > 0)) throw std::domain_error("a variance is not positive");
  const VectorXd z =
      (VectorXd::Map(row.data(), p) - VectorXd::Map(centre.data(), p)).cwiseQuotient(deviation);
  const MatrixXd inverse = deviation.cwiseInverse().asDiagonal();
  const Eigen::SelfAdjointEigenSolver<MatrixXd> correlation(inverse * S * inverse);
  if (!(correlation.eigenvalues().minCoeff() > 1e-12))
    throw std::domain_error("the covariance is not positive definite");
  const MatrixXd root = correlation.operatorInverseSqrt();
  const MatrixXd precision = root * root;
  const VectorXd parts = root * z;
  DistanceShares out;
  out.squared_distance = parts.squaredNorm();
  out.standardised = plain(z);
  out.given_others = plain((precision * z).cwiseQuotient(precision.diagonal().cwiseSqrt()));
  out.share = plain(out.squared_distance > 0 ? VectorXd(parts.cwiseAbs2() / out.squared_distance)
                                             : VectorXd(VectorXd::Zero(p)));
  return out;
}

}  // namespace pinproof::metrology
