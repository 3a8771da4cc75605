#include "waveform/separable.h"

#include <Eigen/Dense>
#include <cmath>
#include <limits>
#include <optional>

namespace pinproof::waveform {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double kTold = 1e-6;  // least sine of the angle between k's column and the others

// The projected problem at one k.
struct Point {
  double k = 0;
  double rss = std::numeric_limits<double>::infinity();
  double step = 0;  // Gauss-Newton step of k from here
};

class SeparableProblem {
 public:
  SeparableProblem(std::span<const double> y, std::size_t columns, const Basis& basis)
      : y_(Eigen::Map<const VectorXd>(y.data(), static_cast<Index>(y.size()))),
        phi_(y_.size(), static_cast<Index>(columns)),
        by_k_(phi_),
        basis_(basis) {}

  Point at(double k) {
    fill(k);
    const auto qr = phi_.colPivHouseholderQr();
    const VectorXd c = qr.solve(y_);
    const VectorXd r = y_ - phi_ * c;
    VectorXd d = by_k_ * c;
    d -= phi_ * qr.solve(d);
    Point out{.k = k};
    const double rss = r.squaredNorm();
    const double norm = d.squaredNorm();
    if (std::isfinite(rss)) out.rss = rss;
    if (norm > 0) out.step = d.dot(r) / norm;
    return out;
  }

  // False where k's column of the Jacobian lies in the span of the others: then
  // amplitudes and rate cannot be told apart.
  bool finish(double k, SeparableFit& fit) {
    fill(k);
    const Index m = phi_.cols();
    const VectorXd c = phi_.colPivHouseholderQr().solve(y_);
    const VectorXd r = y_ - phi_ * c;
    fit.k = k;
    fit.c.assign(c.data(), c.data() + m);
    fit.residual.assign(r.data(), r.data() + r.size());
    fit.rss = r.squaredNorm();
    fit.sigma = std::sqrt(fit.rss / static_cast<double>(phi_.rows() - m - 1));
    MatrixXd jacobian(phi_.rows(), m + 1);
    jacobian << phi_, by_k_ * c;
    return set_covariance(jacobian, fit);
  }

 private:
  void fill(double k) {
    const auto span_of = [](MatrixXd& a) {
      return std::span(a.data(), static_cast<std::size_t>(a.size()));
    };
    basis_(k, span_of(phi_), span_of(by_k_));
  }

  // sigma^2 (J'J)^-1 from the triangle of J's QR, which keeps the digits that
  // forming J'J would lose.
  static bool set_covariance(const MatrixXd& jacobian, SeparableFit& fit) {
    const Index n = jacobian.cols();
    const MatrixXd triangle =
        jacobian.householderQr().matrixQR().topRows(n).triangularView<Eigen::Upper>();
    if (!(std::abs(triangle(n - 1, n - 1)) > kTold * jacobian.col(n - 1).norm())) return false;
    const MatrixXd inverse =
        triangle.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(n, n));
    const MatrixXd covariance = fit.sigma * fit.sigma * inverse * inverse.transpose();
    for (Index i = 0; i < n; ++i) {
      fit.sd.push_back(std::sqrt(covariance(i, i)));
      for (Index j = 0; j < n; ++j) fit.covariance.push_back(covariance(i, j));
    }
    return true;
  }

  VectorXd y_;
  MatrixXd phi_, by_k_;
  const Basis& basis_;
};

struct Bracket {
  double low = 0;
  Point best;
  double high = 0;
};

// Walks downhill by factors of two until the middle of three is the lowest.
std::optional<Bracket> bracket(SeparableProblem& problem, double start) {
  Point here = problem.at(start);
  const Point up = problem.at(2 * start), down = problem.at(start / 2);
  if (!(up.rss < here.rss) && !(down.rss < here.rss))
    return std::isfinite(here.rss) ? std::optional(Bracket{down.k, here, up.k}) : std::nullopt;
  const double factor = up.rss < down.rss ? 2.0 : 0.5;
  double before = start;
  here = up.rss < down.rss ? up : down;
  for (int i = 0; i < 40; ++i) {
    const Point next = problem.at(here.k * factor);
    if (!(next.rss < here.rss))
      return Bracket{std::min(before, next.k), here, std::max(before, next.k)};
    before = here.k;
    here = next;
  }
  return std::nullopt;
}

// The larger side of the bracket, divided by the golden section in ln k.
double golden(const Bracket& b) {
  constexpr double kShare = 0.3819660112501051;
  const double up = std::log(b.high / b.best.k), down = std::log(b.best.k / b.low);
  return b.best.k * std::exp(up > down ? kShare * up : -kShare * down);
}

// Gauss-Newton where it stays inside and does not climb, golden section where
// it does. Near the minimum the sum of squares only tells k to half its digits,
// so a step that leaves it equal within rounding is taken too.
double refine(SeparableProblem& problem, Bracket b) {
  constexpr double kRounding = 1e-12;
  bool newton = true;
  for (int i = 0; i < 200; ++i) {
    const double step = b.best.step;
    if (std::abs(step) < 1e-13 * b.best.k) break;
    const double wanted = b.best.k + step;
    newton = newton && wanted > b.low && wanted < b.high;
    const Point next = problem.at(newton ? wanted : golden(b));
    const bool better = next.rss <= b.best.rss * (1 + kRounding);
    if (better) {
      (next.k > b.best.k ? b.low : b.high) = b.best.k;
      b.best = next;
    } else {
      (next.k > b.best.k ? b.high : b.low) = next.k;
    }
    newton = better || !newton;
    if (b.high - b.low < 1e-14 * b.best.k) break;
  }
  return b.best.k;
}

}  // namespace

SeparableFit fit_separable(std::span<const double> y, std::size_t columns, const Basis& basis,
                           double k_start) {
  SeparableFit fit;
  if (columns == 0 || y.size() < columns + 2) return fit;
  fit.status = FitStatus::no_minimum;
  SeparableProblem problem(y, columns, basis);
  if (!(k_start > 0)) return fit;
  const auto around = bracket(problem, k_start);
  if (!around) return fit;
  if (problem.finish(refine(problem, *around), fit)) fit.status = FitStatus::ok;
  return fit;
}

}  // namespace pinproof::waveform
