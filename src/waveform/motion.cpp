#include "waveform/motion.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace pinproof::waveform {
namespace {

using Eigen::Index;
constexpr int kParameters = 5;
using ParameterVector = Eigen::Matrix<double, kParameters, 1>;
using ParameterMatrix = Eigen::Matrix<double, kParameters, kParameters>;

// lambda_0 over the last linkage, logarithms of alpha, beta, kappa in units of
// the window (length 1, linkage 1), base.
enum { kFreeing, kAlpha, kBeta, kKappa, kBase };

// Weak knowledge that keeps what the travel does not tell from running away:
// time constants and spring rates within a few decades of the window.
const ParameterVector kCentre{0.5, 2, -3, -3, 0};
const ParameterVector kWidth{1, 6, 3, 3, 0.005};

class MotionProblem {
 public:
  explicit MotionProblem(const MotionData& data) : data_(data) {
    last_ = data.linkage_Vs.back();
    for (const double l : data.linkage_Vs) squares_.push_back(l * l / (last_ * last_));
    for (const double l : data.linkage_Vs) weights_.push_back(std::abs(l) / data.noise_Vs);
  }

  std::size_t size() const { return squares_.size(); }
  double last() const { return last_; }

  // Trapezoidal steps: stable however stiff the damping.
  std::vector<double> travel(const ParameterVector& x) const {
    const double h = 1 / static_cast<double>(size());
    const double alpha = std::exp(x[kAlpha]), beta = std::exp(x[kBeta]),
                 kappa = std::exp(x[kKappa]);
    const double free2 = x[kFreeing] * std::abs(x[kFreeing]);
    const double keep = h / 2 * (beta + kappa * h / 2);
    std::vector<double> out(size());
    double s = 0, v = 0;
    for (std::size_t k = 1; k < size(); ++k) {
      const double force = alpha * ((squares_[k] + squares_[k - 1]) / 2 - free2);
      const double next = (v * (1 - keep) - h * kappa * s + h * force) / (1 + keep);
      s += h * (v + next) / 2;
      v = next;
      if (s < 0) s = 0, v = 0;
      out[k] = s;
    }
    return out;
  }

  Eigen::VectorXd residual(const ParameterVector& x) const {
    const auto s = travel(x);
    Eigen::VectorXd out(static_cast<Index>(size()) + kParameters);
    for (std::size_t k = 0; k < size(); ++k)
      out[static_cast<Index>(k)] = weights_[k] * (data_.share[k] - s[k] - x[kBase]);
    out.tail<kParameters>() = (kCentre - x).cwiseQuotient(kWidth);
    return out;
  }

  // -d residual / dx by central differences.
  Eigen::MatrixXd slopes(const ParameterVector& x) const {
    Eigen::MatrixXd out(static_cast<Index>(size()) + kParameters, kParameters);
    for (int j = 0; j < kParameters; ++j) {
      ParameterVector up = x, down = x;
      up[j] += 1e-4, down[j] -= 1e-4;
      out.col(j) = (residual(down) - residual(up)) / 2e-4;
    }
    return out;
  }

  double begin_of(const ParameterVector& x, double begun) const {
    const auto s = travel(x);
    for (std::size_t k = 1; k < s.size(); ++k)
      if (s[k] >= begun && s[k] > s[k - 1])
        return static_cast<double>(k) - (s[k] - begun) / (s[k] - s[k - 1]);
    return std::nan("");
  }

 private:
  const MotionData& data_;
  double last_ = 1;
  std::vector<double> squares_, weights_;
};

struct Descent {
  ParameterVector x;
  double cost = 1e300;
  ParameterMatrix normal = ParameterMatrix::Identity();
  bool settled = false;
};

Descent descend(const MotionProblem& problem, const ParameterVector& start) {
  constexpr int kMostSteps = 80;
  constexpr double kSettled = 0.01, kSettledShare = 1e-4;  // of chi-squared
  Descent out{start, problem.residual(start).squaredNorm()};
  double damping = 1e-2;
  for (int i = 0; i < kMostSteps && !out.settled; ++i) {
    const Eigen::VectorXd r = problem.residual(out.x);
    const Eigen::MatrixXd j = problem.slopes(out.x);
    out.normal = j.transpose() * j;
    const ParameterVector gradient = j.transpose() * r;
    for (int tries = 0; tries < 12; ++tries) {
      ParameterMatrix damped = out.normal;
      damped.diagonal() *= 1 + damping;
      ParameterVector step = damped.ldlt().solve(gradient);
      step = step.cwiseMax(-1).cwiseMin(1);
      const ParameterVector next = out.x + step;
      const double cost = problem.residual(next).squaredNorm();
      if (std::isfinite(cost) && cost <= out.cost) {
        out.settled = out.cost - cost < std::max(kSettled, kSettledShare * cost);
        out.x = next, out.cost = cost;
        damping = std::max(damping / 5, 1e-9);
        break;
      }
      damping *= 4;
      if (tries == 11) out.settled = true;
    }
  }
  return out;
}

}  // namespace

Motion fit_motion(const MotionData& data) {
  Motion out;
  if (data.linkage_Vs.size() < 20 || !(data.linkage_Vs.back() > 0) || !(data.noise_Vs > 0))
    return out;
  const MotionProblem problem(data);
  Descent best;
  for (const ParameterVector& start :
       {ParameterVector{0.6, 3, 0, 0, 0}, ParameterVector{0.6, 6, 4, 2, 0}}) {
    const Descent d = descend(problem, start);
    if (d.settled && d.cost < best.cost) best = d;
  }
  if (!best.settled) return out;
  const double n = static_cast<double>(problem.size());
  out.misfit = std::sqrt(best.cost / n);
  const double wider = std::max(1.0, out.misfit);
  const ParameterMatrix covariance = best.normal.inverse() * wider * wider;
  const double free = best.x[kFreeing];
  if (!(free > 0 && free < 1)) return out;
  out.freeing_Vs = free * problem.last();
  out.freeing_u_Vs = std::sqrt(std::max(0.0, covariance(kFreeing, kFreeing))) * problem.last();
  out.begin = problem.begin_of(best.x, data.begun);
  ParameterVector slope;
  for (int j = 0; j < kParameters; ++j) {
    ParameterVector up = best.x, down = best.x;
    up[j] += 1e-3, down[j] -= 1e-3;
    slope[j] = (problem.begin_of(up, data.begun) - problem.begin_of(down, data.begun)) / 2e-3;
  }
  out.begin_u = std::sqrt(std::max(0.0, slope.dot(covariance * slope)));
  out.found = std::isfinite(out.begin) && std::isfinite(out.begin_u);
  return out;
}

}  // namespace pinproof::waveform
