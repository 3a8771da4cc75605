#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "metrology/robust_distance.h"

namespace pinproof::metrology {

Classical mean_and_covariance(std::span<const double> rows, std::size_t p,
                              std::span<const std::size_t> without) {
  std::vector<std::size_t> kept;
  for (std::size_t k = 0; k < rows.size() / p; ++k)
    if (std::find(without.begin(), without.end(), k) == without.end()) kept.push_back(k);
  Classical out{kept.size(), std::vector<double>(p), std::vector<double>(p * p)};
  for (const std::size_t k : kept)
    for (std::size_t i = 0; i < p; ++i) out.centre[i] += rows[k * p + i] / double(out.n);
  for (const std::size_t k : kept)
    for (std::size_t i = 0; i < p; ++i)
      for (std::size_t j = 0; j < p; ++j)
        out.covariance[i * p + j] += (rows[k * p + i] - out.centre[i]) *
                                     (rows[k * p + j] - out.centre[j]) / double(out.n - 1);
  return out;
}

SquaredDistance::SquaredDistance(std::span<const double> centre, std::span<const double> covariance)
    : centre_(centre.begin(), centre.end()), factor_(covariance.begin(), covariance.end()) {
  const std::size_t p = centre.size();
  if (covariance.size() != p * p) throw std::domain_error("centre and covariance do not fit");
  for (std::size_t i = 0; i < p; ++i)
    for (std::size_t j = 0; j <= i; ++j) {
      double rest = covariance[i * p + j];
      for (std::size_t k = 0; k < j; ++k) rest -= factor_[i * p + k] * factor_[j * p + k];
      if (j < i) {
        factor_[i * p + j] = rest * factor_[j * p + j];
      } else {
        if (!(rest > 0)) throw std::domain_error("the covariance is not positive definite");
        factor_[i * p + i] = 1 / std::sqrt(rest);
      }
    }
}

double SquaredDistance::operator()(std::span<const double> row) const {
  const std::size_t p = centre_.size();
  std::vector<double> solved(p);  // of factor * solved = row - centre
  double out = 0;
  for (std::size_t i = 0; i < p; ++i) {
    double rest = row[i] - centre_[i];
    for (std::size_t k = 0; k < i; ++k) rest -= factor_[i * p + k] * solved[k];
    solved[i] = rest * factor_[i * p + i];
    out += solved[i] * solved[i];
  }
  return out;
}

}  // namespace pinproof::metrology
