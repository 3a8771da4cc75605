#include "waveform/separable.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

namespace pinproof::waveform {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

class Problem {
 public:
  Problem(std::span<const double> t, std::span<const double> y, const std::vector<BasisFunction>& basis)
      : t_(t), y_(Eigen::Map<const VectorXd>(y.data(), static_cast<Index>(y.size()))), basis_(basis) {}

  MatrixXd matrix(double k, bool derivative) const {
    MatrixXd out(y_.size(), static_cast<Index>(basis_.size()));
    for (Index j = 0; j < out.cols(); ++j) {
      const auto& f = derivative ? basis_[static_cast<std::size_t>(j)].by_k : basis_[static_cast<std::size_t>(j)].value;
      for (Index i = 0; i < out.rows(); ++i) out(i, j) = f(t_[static_cast<std::size_t>(i)], k);
    }
    return out;
  }

  VectorXd solve(double k) const { return matrix(k, false).colPivHouseholderQr().solve(y_); }

  double rss(double k) const {
    const MatrixXd phi = matrix(k, false);
    const double out = (y_ - phi * phi.colPivHouseholderQr().solve(y_)).squaredNorm();
    return std::isfinite(out) ? out : std::numeric_limits<double>::infinity();
  }

  // Gauss-Newton step for k on the projected problem (Kaufman's form).
  double step(double k) const {
    const MatrixXd phi = matrix(k, false);
    const auto qr = phi.colPivHouseholderQr();
    const VectorXd c = qr.solve(y_);
    const VectorXd r = y_ - phi * c;
    VectorXd d = matrix(k, true) * c;
    d -= phi * qr.solve(d);
    const double norm = d.squaredNorm();
    return norm > 0 ? d.dot(r) / norm : 0;
  }

  const VectorXd& y() const { return y_; }

 private:
  std::span<const double> t_;
  VectorXd y_;
  const std::vector<BasisFunction>& basis_;
};

struct Bracket {
  double low, middle, high;
};

// Walks downhill in ln k until the middle of three is the lowest.
bool bracket(const Problem& problem, double start, Bracket& out) {
  double f0 = problem.rss(start);
  for (const double factor : {2.0, 0.5}) {
    double before = start / factor;
    double here = start;
    double f_here = f0;
    if (problem.rss(before) < f_here) continue;  // the other way is downhill
    for (int i = 0; i < 40; ++i) {
      const double next = here * factor;
      const double f_next = problem.rss(next);
      if (!(f_next < f_here)) {
        out = {std::min(before, next), here, std::max(before, next)};
        return true;
      }
      before = here, here = next, f_here = f_next;
    }
  }
  return false;
}

double golden(const Problem& problem, const Bracket& b) {
  constexpr double kRatio = 0.6180339887498949;
  double low = std::log(b.low), high = std::log(b.high);
  double x1 = high - kRatio * (high - low), x2 = low + kRatio * (high - low);
  double f1 = problem.rss(std::exp(x1)), f2 = problem.rss(std::exp(x2));
  for (int i = 0; i < 40; ++i) {
    if (f1 < f2) {
      high = x2, x2 = x1, f2 = f1;
      x1 = high - kRatio * (high - low), f1 = problem.rss(std::exp(x1));
    } else {
      low = x1, x1 = x2, f1 = f2;
      x2 = low + kRatio * (high - low), f2 = problem.rss(std::exp(x2));
    }
  }
  return std::exp((low + high) / 2);
}

// The golden section stops at half the digits; Gauss-Newton finds the rest.
double polish(const Problem& problem, double k) {
  double best = problem.rss(k);
  for (int i = 0; i < 20; ++i) {
    const double step = problem.step(k);
    const double next = k + step;
    const double f = next > 0 ? problem.rss(next) : best * 2;
    if (!(f <= best)) break;
    k = next, best = f;
    if (std::abs(step) < 1e-14 * k) break;
  }
  return k;
}

void finish(const Problem& problem, SeparableFit& fit) {
  const VectorXd c = problem.solve(fit.k);
  const MatrixXd phi = problem.matrix(fit.k, false);
  const Index m = c.size();
  MatrixXd jacobian(phi.rows(), m + 1);
  jacobian.leftCols(m) = phi;
  jacobian.col(m) = problem.matrix(fit.k, true) * c;
  fit.c.assign(c.data(), c.data() + m);
  fit.rss = (problem.y() - phi * c).squaredNorm();
  fit.sigma = std::sqrt(fit.rss / static_cast<double>(phi.rows() - m - 1));
  const MatrixXd r = jacobian.householderQr().matrixQR().topRows(m + 1).triangularView<Eigen::Upper>();
  const MatrixXd inverse = r.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(m + 1, m + 1));
  const MatrixXd covariance = fit.sigma * fit.sigma * inverse * inverse.transpose();
  for (Index i = 0; i <= m; ++i) {
    fit.sd.push_back(std::sqrt(covariance(i, i)));
    for (Index j = 0; j <= m; ++j) fit.covariance.push_back(covariance(i, j));
  }
}

}  // namespace

SeparableFit fit_separable(std::span<const double> t, std::span<const double> y, const std::vector<BasisFunction>& basis,
                           double k_start) {
  SeparableFit fit;
  if (t.size() != y.size() || t.size() < basis.size() + 2) return fit;
  const Problem problem(t, y, basis);
  Bracket around{};
  if (!(k_start > 0) || !bracket(problem, k_start, around)) {
    fit.status = SeparableFit::Status::no_minimum;
    return fit;
  }
  fit.k = polish(problem, golden(problem, around));
  finish(problem, fit);
  fit.status = SeparableFit::Status::ok;
  return fit;
}

}  // namespace pinproof::waveform
