#include "diagnosis/likelihood.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace pinproof::diagnosis {

using Eigen::MatrixXd;
using Eigen::VectorXd;

struct Likelihood::Prediction {
  VectorXd off;     // read - predicted, in y
  VectorXd own;     // variance that each reading has by itself
  MatrixXd shared;  // readings x causes: standard deviation of y by each
};

namespace {

Eigen::Index index(std::size_t i) { return static_cast<Eigen::Index>(i); }

// Causes: each element's own deviation, then lot, warmth and leads.
constexpr std::size_t kCommon = 3;
constexpr double kNear = 2.5;   // of y: a wide contact may be a tenth of what it usually is
constexpr double kOhms = 1e-2;  // of the least open resistance: above, insulation has its say

// Change of a reading for one ohm more in an element: product of the currents that one
// ampere at the drive and one at the sense leads send through it (Cohn's theorem).
double per_ohm(const network::Sight& sight, const network::Altering& pack,
               const network::Element& element, double siemens) {
  const std::size_t a = pack.place[element.a], b = pack.place[element.b];
  const double drive = siemens * pack.resistances.transfer(sight.a, sight.b, a, b);
  if (sight == network::between(sight.a, sight.b)) return drive * drive;
  return drive * siemens * pack.resistances.transfer(sight.c, sight.d, a, b);
}

// What is left of an element's own deviation where it is less than it was: bypassed, shorted.
double left_of(const network::Element& part, double siemens) {
  return std::min(1.0, 1 / (siemens * part.ohm));
}

}  // namespace

// Covariance own + shared shared^T, inverted by Woodbury's formula: causes are few, and `own` is
// a diagonal that no reading is without.
class Likelihood::Covariance {
 public:
  Covariance(const VectorXd& own, const MatrixXd& shared)
      : weight_(own.cwiseInverse()), weighted_(weight_.asDiagonal() * shared) {
    MatrixXd inner = shared.transpose() * weighted_;
    inner.diagonal().array() += 1;
    factor_.compute(inner);
    log_det_ = own.array().log().sum() + 2 * factor_.matrixLLT().diagonal().array().log().sum();
  }
  MatrixXd solve(const MatrixXd& x) const {
    return weight_.asDiagonal() * x - weighted_ * factor_.solve(weighted_.transpose() * x);
  }
  double log_det() const { return log_det_; }

 private:
  VectorXd weight_;
  MatrixXd weighted_;
  Eigen::LLT<MatrixXd> factor_;
  double log_det_ = 0;
};

double tolerance_variance(const Scene& scene, const Probe& probe, const network::Altering& pack,
                          const Expected& expected) {
  if (probe.kind == ProbeKind::fraction) return 0;
  double own = 0, lot = 0;
  const auto& elements = scene.model().elements();
  for (std::size_t k = 0; k < elements.size(); ++k) {
    if (pack.siemens[k] == 0 || elements[k].sd_ohm == 0) continue;
    const double slope = per_ohm(probe.sight, pack, elements[k], pack.siemens[k]) *
                         left_of(elements[k], pack.siemens[k]);
    own += std::pow(slope * elements[k].sd_ohm, 2);
    lot += slope * elements[k].ohm * elements[k].lot;
  }
  return expected.slope * expected.slope * (own + lot * lot);
}

Likelihood::Likelihood(const Scene& scene, const std::vector<Observation>& readings,
                       SharedErrors shared)
    : scene_(scene), readings_(readings), shared_(shared) {
  for (const Observation& one : readings)
    if (std::find(used_.begin(), used_.end(), one.probe.situation) == used_.end())
      used_.push_back(one.probe.situation);
}

Likelihood::Prediction Likelihood::predict(const std::vector<Guess>& guesses,
                                           bool with_tolerances) const {
  const auto& elements = scene_.model().elements();
  const std::size_t m = readings_.size(), causes = elements.size() + kCommon;
  Prediction out{VectorXd(index(m)), VectorXd(index(m)), MatrixXd()};
  if (with_tolerances) out.shared = MatrixXd::Zero(index(m), index(causes));
  for (const std::size_t situation : used_) {
    const network::Altering pack = scene_.altered(situation, guesses);
    for (std::size_t t = 0; t < m; ++t) {
      const Observation& z = readings_[t];
      if (z.probe.situation != situation) continue;
      Expected e = scene_.expected(z.probe, pack.resistances);
      const double read = std::isinf(z.ohm) ? z.range_end : z.ohm;
      if (std::isinf(z.ohm) && e.ohm > z.range_end) e.y = scene_.y_of(z.probe, read);
      const Eigen::Index row = index(t);
      const double off_y = scene_.y_of(z.probe, read) - e.y;
      // Near the reading ohms themselves are compared, since they add up exactly where
      // logarithms do not: what a wide contact has in one reading it has in the next.
      const bool near = std::abs(off_y) < kNear && read < kOhms * scene_.open_ohm() &&
                        z.probe.kind != ProbeKind::fraction;
      const double slope = near ? scene_.slope_of(z.probe, read) : e.slope;
      out.off(row) = near ? (read - e.ohm) * slope : off_y;
      out.own(row) = e.vague * e.vague;
      if (std::isfinite(z.u)) out.own(row) += std::pow(slope * z.u, 2);
      if (!with_tolerances || z.probe.kind == ProbeKind::fraction) continue;
      const Eigen::Index common = index(elements.size());
      for (std::size_t k = 0; k < elements.size(); ++k) {
        const network::Element& part = elements[k];
        if (pack.siemens[k] == 0 || part.sd_ohm == 0) continue;
        const double each = slope * per_ohm(z.probe.sight, pack, part, pack.siemens[k]) *
                            left_of(part, pack.siemens[k]);
        out.shared(row, index(k)) = each * part.sd_ohm;
        out.shared(row, common) += each * part.ohm * part.lot;
        out.shared(row, common + 1) += each * part.ohm * part.per_K * shared_.warmth_K;
      }
      out.shared(row, common + 2) = slope * shared_.lead_ohm;
    }
  }
  return out;
}

// Sizes one step after the other towards the best fit, tolerances shared as they are: two
// readings of one coil say less of a joint than two of two coils.
double Likelihood::gauss_newton(std::vector<Guess>& guesses) const {
  constexpr double kStep = 1e-3, kLongest = 2.0, kClose = 2e-3;
  constexpr int kTimes = 6;
  std::vector<std::size_t> sized;
  for (std::size_t k = 0; k < guesses.size(); ++k)
    if (guesses[k].suspect->sized()) sized.push_back(k);
  if (sized.empty()) return 0;
  const Eigen::Index n = index(sized.size());
  MatrixXd curvature(n, n);
  for (int i = 0; i < kTimes; ++i) {
    const Prediction here = predict(guesses, true);
    const Covariance covariance(here.own, here.shared);
    MatrixXd slopes(here.off.size(), n);
    for (Eigen::Index k = 0; k < n; ++k) {
      auto moved = guesses;
      moved[sized[static_cast<std::size_t>(k)]].size *= 1 + kStep;
      slopes.col(k) = (here.off - predict(moved, false).off) / kStep;
    }
    const MatrixXd heavy = covariance.solve(slopes);
    curvature = slopes.transpose() * heavy;
    VectorXd step = curvature.ldlt().solve(heavy.transpose() * here.off);
    double longest = 0;
    for (Eigen::Index k = 0; k < n; ++k) {
      // A size that no reading feels stays where it is.
      if (!(curvature(k, k) > 1e-4) || !std::isfinite(step(k))) step(k) = 0;
      Guess& guess = guesses[sized[static_cast<std::size_t>(k)]];
      const double to = guess.size * std::exp(std::clamp(step(k), -kLongest, kLongest));
      const double held = std::clamp(to, guess.suspect->size.low, guess.suspect->size.high);
      longest = std::max(longest, std::abs(std::log(held / guess.size)));
      guess.size = held;
    }
    if (longest < kClose) break;
  }
  double log_factor = 0;
  for (Eigen::Index k = 0; k < n; ++k) {
    const Interval& size = guesses[sized[static_cast<std::size_t>(k)]].suspect->size;
    const double width = std::log(size.high / size.low);
    const double spread = std::sqrt(2 * std::numbers::pi / std::max(curvature(k, k), 1e-9));
    log_factor += std::log(std::min(1.0, spread / width));
  }
  return log_factor;
}

// No contact has less than no resistance, though a normal distribution would let it: what the
// readings ask of each element that differs widely, where it is below nothing, in squared
// standard deviations of what they leave open.
template <class Vector, class Matrix>
double Likelihood::below_nothing(const Vector& off, const Matrix& shared,
                                 const Covariance& covariance) const {
  constexpr double kWide = 0.3;
  const auto& elements = scene_.model().elements();
  const VectorXd pulled = covariance.solve(off);
  double out = 0;
  for (std::size_t k = 0; k < elements.size(); ++k) {
    const auto column = shared.col(index(k));
    if (elements[k].sd_ohm < kWide * elements[k].ohm || column.isZero()) continue;
    const double least = elements[k].ohm + elements[k].sd_ohm * column.dot(pulled);
    if (least >= 0) continue;
    const double told = column.dot(VectorXd(covariance.solve(column)));
    const double left = elements[k].sd_ohm * std::sqrt(std::max(1 - told, 1e-6));
    out += std::pow(least / left, 2);
  }
  return out;
}

FaultFit Likelihood::at(std::vector<Guess> guesses) const {
  FaultFit out;
  const Prediction p = predict(guesses, true);
  const Covariance covariance(p.own, p.shared);
  out.guesses = std::move(guesses);
  out.misfit =
      p.off.dot(VectorXd(covariance.solve(p.off))) + below_nothing(p.off, p.shared, covariance);
  out.log_likelihood = -0.5 * (out.misfit + covariance.log_det() +
                               static_cast<double>(p.off.size()) * std::log(2 * std::numbers::pi));
  return out;
}

std::vector<double> Likelihood::one_by_one(const std::vector<Guess>& guesses) const {
  const Prediction p = predict(guesses, true);
  std::vector<double> out;
  for (Eigen::Index t = 0; t < p.off.size(); ++t) {
    const double variance = p.own(t) + p.shared.row(t).squaredNorm();
    out.push_back(-0.5 *
                  (p.off(t) * p.off(t) / variance + std::log(2 * std::numbers::pi * variance)));
  }
  return out;
}

double Likelihood::farthest() const {
  const Prediction p = predict({}, true);
  double out = 0;
  for (Eigen::Index t = 0; t < p.off.size(); ++t)
    out = std::max(out, std::abs(p.off(t)) / std::sqrt(p.own(t) + p.shared.row(t).squaredNorm()));
  return out;
}

FaultFit Likelihood::fit(std::vector<Guess> guesses) const {
  const double laplace = gauss_newton(guesses);
  FaultFit out = at(std::move(guesses));
  out.log_occam = laplace;
  out.log_likelihood += laplace;
  return out;
}

}  // namespace pinproof::diagnosis
