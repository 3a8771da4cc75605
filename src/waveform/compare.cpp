#include "waveform/compare.h"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>

namespace pinproof::waveform {
namespace {

constexpr std::size_t kFewest = 4;

std::vector<Trait> common(const Traits& seen, std::span<const Traits> good) {
  std::vector<Trait> out;
  for (std::size_t t = 0; t < kTraits; ++t) {
    const auto shows = [t](const Traits& x) { return std::isfinite(x.ln[t].value); };
    if (shows(seen) && std::all_of(good.begin(), good.end(), shows))
      out.push_back(static_cast<Trait>(t));
  }
  return out;
}

}  // namespace

Distance distance_from(const Traits& seen, std::span<const Traits> good) {
  using Eigen::Index;
  Distance out;
  out.captures = good.size();
  if (good.size() < kFewest) {
    out.reason = "four known-good captures at least are needed for a distance";
    return out;
  }
  out.used = common(seen, good);
  if (out.used.size() > good.size() / 2) out.used.resize(good.size() / 2);
  if (out.used.empty()) {
    out.reason = "this capture and the known-good ones share no figures";
    return out;
  }
  const auto n = static_cast<Index>(good.size()), p = static_cast<Index>(out.used.size());
  Eigen::MatrixXd x(n, p);
  Eigen::VectorXd here(p);
  for (Index j = 0; j < p; ++j) {
    const Trait trait = out.used[static_cast<std::size_t>(j)];
    here(j) = seen[trait].value;
    for (Index i = 0; i < n; ++i) x(i, j) = good[static_cast<std::size_t>(i)][trait].value;
  }
  const Eigen::RowVectorXd mean = x.colwise().mean();
  x.rowwise() -= mean;
  const Eigen::VectorXd off = here - mean.transpose();
  const Eigen::MatrixXd covariance = x.transpose() * x / static_cast<double>(n - 1);
  const Eigen::LDLT<Eigen::MatrixXd> ldlt(covariance);
  if (ldlt.info() != Eigen::Success || !(ldlt.vectorD().minCoeff() > 0)) {
    out.reason = "the known-good captures are copies of one another: no spread to measure by";
    return out;
  }
  const double dn = static_cast<double>(n), dp = static_cast<double>(p);
  const double t2 = off.dot(ldlt.solve(off)) * dn / (dn + 1);
  out.distance = std::sqrt(t2 / dp);
  const boost::math::fisher_f law(dp, dn - dp);
  out.false_alarm =
      boost::math::cdf(boost::math::complement(law, t2 * (dn - dp) / (dp * (dn - 1))));
  return out;
}

}  // namespace pinproof::waveform
