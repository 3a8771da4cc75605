// The Levenberg-Marquardt of Eigen's unsupported modules, analytic Jacobian.
#include <unsupported/Eigen/NonLinearOptimization>

#include "trial.h"

namespace {

struct Sum {
  const trial& t;
  using Scalar = double;
  enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };
  using InputType = Eigen::VectorXd;
  using ValueType = Eigen::VectorXd;
  using JacobianType = Eigen::MatrixXd;

  int inputs() const { return t.parameters; }
  int values() const { return t.n; }
  int operator()(const Eigen::VectorXd& p, Eigen::VectorXd& f) const {
    for (int i = 0; i < t.n; ++i) {
      f[i] = p[0] - t.y[i];
      for (int j = 1; j < t.parameters; j += 2) f[i] += p[j] * std::exp(-p[j + 1] * i);
    }
    return 0;
  }
  int df(const Eigen::VectorXd& p, Eigen::MatrixXd& out) const {
    out.col(0).setOnes();
    for (int j = 1; j < t.parameters; j += 2)
      for (int i = 0; i < t.n; ++i) {
        const double e = std::exp(-p[j + 1] * i);
        out(i, j) = e, out(i, j + 1) = -p[j] * i * e;
      }
    return 0;
  }
};

}  // namespace

int main() {
  trial t{};
  while (read_trial(&t)) {
    double times[kMostRepeats];
    Eigen::VectorXd p;
    const int repeats = t.n > 5000 ? 5 : kMostRepeats;
    for (int r = 0; r < repeats; ++r) {
      const double from = now_us();
      Sum sum{t};
      p = Eigen::Map<Eigen::VectorXd>(t.start, t.parameters);
      Eigen::LevenbergMarquardt<Sum> lm(sum);
      lm.parameters.xtol = 1e-9, lm.parameters.ftol = 1e-14;
      lm.minimize(p);
      times[r] = now_us() - from;
    }
    answer(times, repeats, p.data(), t.parameters);
    free(t.y);
  }
}
