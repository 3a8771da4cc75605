#include "metrology/robust_distance.h"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <limits>
#include <numeric>
#include <random>
#include <stdexcept>
#include <utility>

#include "metrology/mcd_correction.h"

namespace pinproof::metrology {
namespace {

namespace bm = boost::math;

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using RowIndices = std::vector<Index>;

constexpr std::size_t kStarts = 500, kKept = 10;
constexpr Index kSubset = 300;  // rows of one of the nested subsets
constexpr Index kSubsets = 5;
constexpr double kReweight = 0.975;
constexpr double kSingular = 1e-12;  // of a variable's own variance, left by those before it
constexpr std::uint64_t kSeed = 1999;

// Middle and Cholesky factor of some rows' covariance. A column of `x` is a row of the data.
struct SubsetFit {
  VectorXd mean;
  MatrixXd factor;
  double log_determinant = std::numeric_limits<double>::infinity();
  bool singular = false;
  RowIndices rows;
};

MatrixXd covariance_of(const MatrixXd& x, const RowIndices& rows, VectorXd& mean) {
  const MatrixXd some = x(Eigen::all, rows);
  mean = some.rowwise().mean();
  const MatrixXd off = some.colwise() - mean;
  return off * off.transpose() / static_cast<double>(rows.size() - 1);
}

SubsetFit fit_of(const MatrixXd& x, RowIndices rows) {
  SubsetFit out;
  const MatrixXd covariance = covariance_of(x, rows, out.mean);
  const Eigen::LLT<MatrixXd> cholesky(covariance);
  out.factor = cholesky.matrixL();
  const auto pivots = out.factor.diagonal().array();
  out.singular = cholesky.info() != Eigen::Success ||
                 !(pivots.square() > kSingular * covariance.diagonal().array()).all();
  if (!out.singular) out.log_determinant = 2 * pivots.log().sum();
  out.rows = std::move(rows);
  return out;
}

VectorXd squared_distances(const MatrixXd& x, const VectorXd& mean, const MatrixXd& factor) {
  MatrixXd off = x.colwise() - mean;
  factor.triangularView<Eigen::Lower>().solveInPlace(off);
  return off.colwise().squaredNorm().transpose();
}

// The h rows of `x` nearest to a fit, fitted anew: never a greater determinant.
SubsetFit concentrate(const MatrixXd& x, std::size_t h, const SubsetFit& from) {
  const VectorXd d = squared_distances(x, from.mean, from.factor);
  RowIndices rows(static_cast<std::size_t>(x.cols()));
  std::iota(rows.begin(), rows.end(), Index{0});
  const auto nearer = [&](Index a, Index b) { return d[a] != d[b] ? d[a] < d[b] : a < b; };
  if (h < rows.size())
    std::nth_element(rows.begin(), rows.begin() + static_cast<std::ptrdiff_t>(h), rows.end(),
                     nearer);
  rows.resize(h);
  std::sort(rows.begin(), rows.end());
  return fit_of(x, std::move(rows));
}

SubsetFit concentrate_twice(const MatrixXd& x, std::size_t h, const SubsetFit& from) {
  SubsetFit once = concentrate(x, h, from);
  return once.singular ? once : concentrate(x, h, once);
}

SubsetFit converge(const MatrixXd& x, std::size_t h, SubsetFit fit) {
  while (!fit.singular) {
    SubsetFit next = concentrate(x, h, fit);
    const bool done = next.rows == fit.rows || next.log_determinant >= fit.log_determinant;
    fit = std::move(next);
    if (done) break;
  }
  return fit;
}

// The ten of least determinant; a singular one is the least there is.
class BestSubsets {
 public:
  void add(SubsetFit fit) {
    if (fit.singular) singular_ = true;
    for (const SubsetFit& other : fits_)
      if (other.rows == fit.rows) return;
    const auto less = [](const SubsetFit& a, const SubsetFit& b) {
      return a.log_determinant < b.log_determinant;
    };
    fits_.insert(std::upper_bound(fits_.begin(), fits_.end(), fit, less), std::move(fit));
    if (fits_.size() > kKept) fits_.pop_back();
  }
  const std::vector<SubsetFit>& fits() const { return fits_; }
  bool singular() const { return singular_; }

 private:
  std::vector<SubsetFit> fits_;
  bool singular_ = false;
};

// The first m of a random order. Not std::shuffle: its draws differ between libraries.
void draw(RowIndices& order, std::size_t from, std::size_t m, std::mt19937_64& random) {
  for (std::size_t i = from; i < m; ++i)
    std::swap(order[i], order[i + random() % (order.size() - i)]);
}

// p + 1 random rows, and more as long as they lie in a plane.
SubsetFit start(const MatrixXd& x, RowIndices& order, std::mt19937_64& random) {
  std::size_t m = static_cast<std::size_t>(x.rows()) + 1;
  draw(order, 0, m, random);
  const auto first = [&] {
    return RowIndices(order.begin(), order.begin() + static_cast<Index>(m));
  };
  SubsetFit fit = fit_of(x, first());
  for (; fit.singular && m < order.size(); fit = fit_of(x, first()))
    draw(order, m, m + 1, random), ++m;
  return fit;
}

BestSubsets from_starts(const MatrixXd& x, std::size_t h, std::size_t starts,
                        std::mt19937_64& random) {
  BestSubsets out;
  RowIndices order(static_cast<std::size_t>(x.cols()));
  std::iota(order.begin(), order.end(), Index{0});
  for (std::size_t i = 0; i < starts && !out.singular(); ++i) {
    const SubsetFit fit = start(x, order, random);
    out.add(fit.singular ? fit : concentrate_twice(x, h, fit));
  }
  return out;
}

// Starts in subsets, their best in all subsets together. What is singular in a subset need not be
// so in the whole, and drops out.
BestSubsets nested(const MatrixXd& x, std::size_t h, std::mt19937_64& random) {
  const Index groups = std::min(kSubsets, x.cols() / kSubset);
  const Index used = std::min(x.cols(), kSubset * kSubsets);
  const auto share = [&](Index m) {
    return static_cast<std::size_t>(
        std::ceil(static_cast<double>(m) * static_cast<double>(h) / static_cast<double>(x.cols())));
  };
  RowIndices order(static_cast<std::size_t>(x.cols()));
  std::iota(order.begin(), order.end(), Index{0});
  draw(order, 0, static_cast<std::size_t>(used), random);
  order.resize(static_cast<std::size_t>(used));
  const MatrixXd merged = x(Eigen::all, order);
  BestSubsets out;
  for (Index g = 0; g < groups; ++g) {
    const Index begin = g * used / groups, size = (g + 1) * used / groups - begin;
    const MatrixXd part = merged.middleCols(begin, size);
    const BestSubsets best =
        from_starts(part, share(size), kStarts / static_cast<std::size_t>(groups), random);
    for (const SubsetFit& fit : best.fits())
      if (!fit.singular) out.add(concentrate_twice(merged, share(used), fit));
  }
  return out;
}

SubsetFit search(const MatrixXd& x, std::size_t h) {
  std::mt19937_64 random(kSeed);
  const BestSubsets best =
      x.cols() > 2 * kSubset ? nested(x, h, random) : from_starts(x, h, kStarts, random);
  SubsetFit out;
  out.singular = true;
  for (const SubsetFit& fit : best.fits()) {
    SubsetFit end = fit.singular ? fit : converge(x, h, concentrate(x, h, fit));
    if (end.singular) return end;
    if (out.singular || end.log_determinant < out.log_determinant) out = end;
  }
  return out;
}

// To numbers of about 1, so that units do not matter: middle and width of each column's shortest
// half. false where one has no width.
bool scale_of(const MatrixXd& x, std::size_t h, VectorXd& middle, VectorXd& width, Index& column) {
  middle.resize(x.rows()), width.resize(x.rows());
  for (column = 0; column < x.rows(); ++column) {
    std::vector<double> sorted(static_cast<std::size_t>(x.cols()));
    VectorXd::Map(sorted.data(), x.cols()) = x.row(column).transpose();
    std::sort(sorted.begin(), sorted.end());
    width[column] = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i + h <= sorted.size(); ++i)
      if (const double w = sorted[i + h - 1] - sorted[i]; w < width[column])
        width[column] = w, middle[column] = sorted[i] + w / 2;
    if (!(width[column] > 0)) return false;
  }
  return true;
}

// Both estimates, their corrections and the distances, computed in units of `width`.
class Estimates {
 public:
  Estimates(const MatrixXd& x, VectorXd middle, VectorXd width)
      : x_(x), middle_(std::move(middle)), width_(std::move(width)) {}

  std::optional<Mcd> of(const SubsetFit& best) const {
    const auto p = static_cast<double>(x_.rows()), n = static_cast<double>(x_.cols());
    Mcd out;
    const auto small = mcd_small_sample(p, n, McdStage::raw);
    const auto small_again = mcd_small_sample(p, n, McdStage::reweighted);
    out.small_sample_corrected = small && small_again;
    const double raw =
        mcd_consistency(p, static_cast<double>(best.rows.size()) / n) * small.value_or(1);
    RowIndices kept = near(best, raw);
    if (kept.size() <= static_cast<std::size_t>(x_.rows())) return std::nullopt;
    const double corrected =
        mcd_consistency(p, static_cast<double>(kept.size()) / n) * small_again.value_or(1);
    const SubsetFit fine = fit_of(x_, std::move(kept));
    if (fine.singular) return std::nullopt;
    out.subset.assign(best.rows.begin(), best.rows.end());
    out.log_determinant = best.log_determinant + 2 * width_.array().log().sum();
    out.raw_centre = centre(best), out.raw_covariance = covariance(best, raw);
    out.centre = centre(fine), out.covariance = covariance(fine, corrected);
    out.squared_distances = plain(squared_distances(x_, fine.mean, fine.factor) / corrected);
    out.weights.assign(static_cast<std::size_t>(x_.cols()), 0);
    for (const Index i : fine.rows) out.weights[static_cast<std::size_t>(i)] = 1;
    return out;
  }

 private:
  static std::vector<double> plain(const MatrixXd& m) { return {m.data(), m.data() + m.size()}; }
  RowIndices near(const SubsetFit& fit, double factor) const {
    const double limit =
        factor * bm::quantile(bm::chi_squared(static_cast<double>(x_.rows())), kReweight);
    const VectorXd d = squared_distances(x_, fit.mean, fit.factor);
    RowIndices out;
    for (Index i = 0; i < d.size(); ++i)
      if (d[i] <= limit) out.push_back(i);
    return out;
  }
  std::vector<double> centre(const SubsetFit& fit) const {
    return plain(middle_ + width_.cwiseProduct(fit.mean));
  }
  std::vector<double> covariance(const SubsetFit& fit, double factor) const {
    const MatrixXd root = width_.asDiagonal() * fit.factor;
    return plain(factor * root * root.transpose());
  }

  const MatrixXd& x_;
  VectorXd middle_, width_;
};

McdOutcome failed(McdFailure failure, std::size_t column = 0) {
  return {std::nullopt, failure, column};
}

}  // namespace

McdOutcome minimum_covariance_determinant(std::span<const double> rows, std::size_t p) {
  if (p == 0 || rows.size() % p != 0) throw std::domain_error("rows of p values are wanted");
  const std::size_t n = rows.size() / p, h = (n + p + 1) / 2;
  if (n < 2 * p || n < 2) return failed(McdFailure::too_few_rows);
  for (std::size_t i = 0; i < rows.size(); ++i)
    if (!std::isfinite(rows[i])) return failed(McdFailure::not_finite, i % p);
  MatrixXd x = MatrixXd::Map(rows.data(), static_cast<Index>(p), static_cast<Index>(n));
  VectorXd middle, width;
  Index column = 0;
  if (!scale_of(x, h, middle, width, column))
    return failed(McdFailure::no_spread, static_cast<std::size_t>(column));
  x = width.cwiseInverse().asDiagonal() * (x.colwise() - middle);
  const SubsetFit best = search(x, h);
  if (best.singular) return failed(McdFailure::singular);
  auto mcd = Estimates(x, middle, width).of(best);
  if (!mcd) return failed(McdFailure::singular);
  return {std::move(mcd), McdFailure::none, 0};
}

std::string failure_text(const McdOutcome& outcome) {
  const std::string column = "variable " + std::to_string(outcome.column + 1);
  switch (outcome.failure) {
    case McdFailure::none:
      break;
    case McdFailure::too_few_rows:
      return "fewer than twice as many parts as variables";
    case McdFailure::not_finite:
      return column + " has a value that is no number";
    case McdFailure::no_spread:
      return column + " has one value in half the parts or more";
    case McdFailure::singular:
      return "one linear relation holds for half the parts or more";
  }
  return {};
}

}  // namespace pinproof::metrology
