#include "waveform/projected.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace pinproof::waveform {
namespace {

constexpr std::size_t kMostRungs = 24;
constexpr double kCoarsest = 0.01;  // truncation of the blocks' series that a first look bears

// Sums of t^q exp(-k t) over t = 0 .. n - 1, q = 0, 1, 2 (geometric series and
// its derivatives). Kept as 1 - z and z^n, so that products of exponentials need
// no further calls of exp.
struct GeometricDecay {
  double q = 0;   // 1 - z
  double zn = 1;  // z^n

  static GeometricDecay of(double k, double n) { return {-std::expm1(-k), std::exp(-k * n)}; }
  double sum() const { return (1 - zn) / q; }
  friend GeometricDecay operator*(const GeometricDecay& a, const GeometricDecay& b) {
    return {a.q + b.q - a.q * b.q, a.zn * b.zn};
  }
};

struct Sums {
  double s0, s1, s2;
  Sums(const GeometricDecay& d, double n) {
    const double z = 1 - d.q, f = 1 / d.q, whole = 1 - d.zn, end = n * d.zn * f;
    s0 = whole * f;
    s1 = z * f * s0 - end;
    s2 = z * (1 + z) * f * f * s0 - 2 * z * f * end - n * end;
  }
};

// Lower triangle of a positive definite matrix of at most four rows, in place.
template <class Matrix>
bool factor(Matrix& a, std::size_t n) {
  for (std::size_t j = 0; j < n; ++j) {
    const double before = a[j][j];
    for (std::size_t k = 0; k < j; ++k) a[j][j] -= a[j][k] * a[j][k];
    if (!(a[j][j] > 1e-14 * before)) return false;
    a[j][j] = std::sqrt(a[j][j]);
    for (std::size_t i = j + 1; i < n; ++i) {
      for (std::size_t k = 0; k < j; ++k) a[i][j] -= a[i][k] * a[j][k];
      a[i][j] /= a[j][j];
    }
  }
  return true;
}

template <class Matrix, class Vector>
Vector solve(const Matrix& l, Vector x, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= l[i][k] * x[k];
    x[i] /= l[i][i];
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t k = i + 1; k < n; ++k) x[i] -= l[k][i] * x[k];
    x[i] /= l[i][i];
  }
  return x;
}

// b' A^-1 b by elimination without roots; nothing where A is singular.
template <class Matrix, class Vector>
double explained(Matrix& a, Vector& b, std::size_t n) {
  double out = 0;
  for (std::size_t j = 0; j < n; ++j) {
    if (!(a[j][j] > 0)) return 0;
    const double f = 1 / a[j][j];
    out += b[j] * b[j] * f;
    for (std::size_t i = j + 1; i < n; ++i) {
      const double share = a[i][j] * f;
      b[i] -= share * b[j];
      for (std::size_t k = j + 1; k <= i; ++k) a[i][k] -= share * a[k][j];
    }
  }
  return out;
}

using Gram = std::array<ColumnVector, kMostColumns>;

// Everything about the exponentials that does not depend on the data.
struct Geometry {
  Gram gram{};                                            // columns by columns
  std::array<ColumnVector, kMostExponentials> by_rate{};  // columns by t z_j^t
  std::array<RateVector, kMostExponentials> rate_rate{};  // t z_i^t by t z_j^t

  Geometry(const RateVector& log_rate, const ProjectedShape& shape, double n) {
    std::array<GeometricDecay, kMostExponentials> decay;
    const std::size_t first = shape.constant ? 1 : 0;
    if (shape.constant) gram[0][0] = n;
    for (std::size_t j = 0; j < shape.terms; ++j) {
      decay[j] = GeometricDecay::of(std::exp(log_rate[j]), n);
      if (shape.constant) {
        const Sums s(decay[j], n);
        gram[0][1 + j] = gram[1 + j][0] = s.s0;
        by_rate[j][0] = s.s1;
      }
      for (std::size_t i = 0; i <= j; ++i) {
        const Sums s(decay[i] * decay[j], n);
        gram[first + i][first + j] = gram[first + j][first + i] = s.s0;
        by_rate[j][first + i] = by_rate[i][first + j] = s.s1;
        rate_rate[i][j] = rate_rate[j][i] = s.s2;
      }
    }
  }
};

double dot(const ColumnVector& a, const ColumnVector& b, std::size_t n) {
  double out = 0;
  for (std::size_t i = 0; i < n; ++i) out += a[i] * b[i];
  return out;
}

}  // namespace

std::optional<RateVector> marquardt_step(const Projected& at, std::size_t terms, double damping,
                                         double longest) {
  auto h = at.hessian;
  for (std::size_t j = 0; j < terms; ++j) h[j][j] *= 1 + damping;
  if (!factor(h, terms)) return std::nullopt;
  RateVector step = solve(h, at.gradient, terms);
  double most = 0;
  for (std::size_t j = 0; j < terms; ++j) most = std::max(most, std::abs(step[j]));
  if (!std::isfinite(most)) return std::nullopt;
  if (most > longest)
    for (double& s : step) s *= longest / most;
  return step;
}

Deviations deviations(const Projected& at, const ProjectedShape& shape) {
  Deviations out;
  auto h = at.hessian;
  const bool known = factor(h, shape.terms);
  std::array<RateVector, kMostExponentials> inverse{};
  for (std::size_t j = 0; j < shape.terms; ++j) {
    RateVector unit{};
    unit[j] = 1;
    inverse[j] = known ? solve(h, unit, shape.terms) : RateVector{};
    out.log_rate[j] = known ? std::sqrt(inverse[j][j]) : INFINITY;
  }
  for (std::size_t i = 0; i < shape.columns(); ++i) {
    ColumnVector unit{};
    unit[i] = 1;
    double variance = known ? solve(at.factor, unit, shape.columns())[i] : INFINITY;
    for (std::size_t a = 0; a < shape.terms; ++a)
      for (std::size_t b = 0; b < shape.terms; ++b)
        variance += at.response[a][i] * inverse[a][b] * at.response[b][i];
    out.c[i] = std::sqrt(variance);
  }
  return out;
}

BlockProblem::BlockProblem(const BlockMoments& blocks, const ProjectedShape& shape)
    : blocks_(blocks), shape_(shape), sum_(blocks.sum()) {}

Projected BlockProblem::at(const RateVector& log_rate) const {
  const std::size_t m = shape_.columns(), first = shape_.constant ? 1 : 0;
  const Geometry g(log_rate, shape_, blocks_.samples());
  Projected out;
  ColumnVector data{};
  RateVector slopes{};
  if (shape_.constant) data[0] = sum_;
  for (std::size_t j = 0; j < shape_.terms; ++j) {
    const DecaySums s = blocks_.sums(std::exp(log_rate[j]));
    data[first + j] = s.e, slopes[j] = s.d;
  }
  Gram& l = out.factor;
  l = g.gram;
  if (!factor(l, m)) return out;
  out.valid = true;
  out.c = solve(l, data, m);
  out.rss = blocks_.square() - dot(out.c, data, m);
  std::array<ColumnVector, kMostExponentials> projected{};
  RateVector scale{};
  for (std::size_t j = 0; j < shape_.terms; ++j) {
    projected[j] = solve(l, g.by_rate[j], m);
    scale[j] = -out.c[first + j] * std::exp(log_rate[j]);
    out.gradient[j] = scale[j] * (slopes[j] - dot(out.c, g.by_rate[j], m));
    for (std::size_t i = 0; i < m; ++i) out.response[j][i] = scale[j] * projected[j][i];
  }
  for (std::size_t i = 0; i < shape_.terms; ++i)
    for (std::size_t j = 0; j < shape_.terms; ++j)
      out.hessian[i][j] =
          scale[i] * scale[j] * (g.rate_rate[i][j] - dot(g.by_rate[i], projected[j], m));
  return out;
}

// The constant is taken out of every column and of the data beforehand, so that
// a choice of rungs is a Gram matrix of `terms` rows.
RateVector BlockProblem::best_of(std::span<const double> log_rates) const {
  std::array<GeometricDecay, kMostRungs> decay;
  std::array<double, kMostRungs> data{};
  std::array<std::array<double, kMostRungs>, kMostRungs> gram{};
  const double n = blocks_.samples(), share = shape_.constant ? 1 / n : 0;
  std::size_t rungs = 0;
  for (const std::size_t most = std::min(log_rates.size(), kMostRungs); rungs < most; ++rungs) {
    const double k = std::exp(log_rates[rungs]);
    if (blocks_.truncation(k) > kCoarsest) break;
    decay[rungs] = GeometricDecay::of(k, n);
    data[rungs] = blocks_.sums(k).e - share * decay[rungs].sum() * sum_;
    for (std::size_t j = 0; j <= rungs; ++j)
      gram[rungs][j] =
          (decay[rungs] * decay[j]).sum() - share * decay[rungs].sum() * decay[j].sum();
  }
  return best_choice(log_rates.first(rungs), shape_.terms, [&](const auto& pick) {
    std::array<RateVector, kMostExponentials> l{};
    RateVector seen{};
    for (std::size_t i = 0; i < shape_.terms; ++i) {
      seen[i] = data[pick[i]];
      for (std::size_t j = 0; j <= i; ++j) l[i][j] = gram[pick[i]][pick[j]];
    }
    return -explained(l, seen, shape_.terms);
  });
}

SampleProblem::SampleProblem(std::span<const double> y, const ProjectedShape& shape)
    : y_(y), shape_(shape) {
  for (const double x : y) square_ += x * x;
}

Projected SampleProblem::at(const RateVector& log_rate) const {
  using Eigen::Index;
  const auto n = static_cast<Index>(y_.size()), m = static_cast<Index>(shape_.columns());
  const auto p = static_cast<Index>(shape_.terms), first = m - p;
  Eigen::MatrixXd columns(n, m), moved(n, p);
  if (shape_.constant) columns.col(0).setOnes();
  for (Index j = 0; j < p; ++j) {
    const double k = std::exp(log_rate[static_cast<std::size_t>(j)]);
    for (Index t = 0; t < n; ++t) {
      const double z = std::exp(-k * static_cast<double>(t));
      columns(t, first + j) = z;
      moved(t, j) = -k * static_cast<double>(t) * z;
    }
  }
  const Eigen::HouseholderQR<Eigen::MatrixXd> qr(columns);
  const Eigen::Map<const Eigen::VectorXd> y(y_.data(), n);
  const Eigen::VectorXd c = qr.solve(y), r = y - columns * c;
  for (Index j = 0; j < p; ++j) moved.col(j) *= c(first + j);
  const Eigen::MatrixXd response = qr.solve(moved), projected = moved - columns * response;
  const Eigen::MatrixXd hessian = projected.transpose() * projected;
  const Eigen::VectorXd gradient = projected.transpose() * r;
  const Eigen::MatrixXd root = qr.matrixQR().topRows(m).triangularView<Eigen::Upper>();
  Projected out;
  const auto at = [](Index i) { return static_cast<std::size_t>(i); };
  out.valid = c.allFinite() && hessian.allFinite() && root.diagonal().cwiseAbs().minCoeff() > 0;
  out.rss = r.squaredNorm();
  for (Index i = 0; i < m; ++i) {
    out.c[at(i)] = c(i);
    for (Index j = 0; j <= i; ++j) out.factor[at(i)][at(j)] = root(j, i);
  }
  for (Index i = 0; i < p; ++i) {
    out.gradient[at(i)] = gradient(i);
    for (Index j = 0; j < p; ++j) out.hessian[at(i)][at(j)] = hessian(i, j);
    for (Index j = 0; j < m; ++j) out.response[at(i)][at(j)] = response(j, i);
  }
  return out;
}

RateVector SampleProblem::best_of(std::span<const double> log_rates) const {
  return best_choice(log_rates, shape_.terms, [&](const auto& pick) {
    RateVector here{};
    for (std::size_t j = 0; j < shape_.terms; ++j) here[j] = log_rates[pick[j]];
    const Projected seen = at(here);
    return seen.valid ? seen.rss : square_;
  });
}

}  // namespace pinproof::waveform
