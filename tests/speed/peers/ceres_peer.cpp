// Ceres, by name of the one argument: "tiny" for TinySolver, "full" for the
// whole library with one dense block. Analytic Jacobians.
#include <ceres/ceres.h>
#include <ceres/tiny_solver.h>

#include <cstring>

#include "trial.h"

namespace {

// One exponential a sample and term, for value and slopes alike.
template <class Store>
void evaluate(const trial& t, const double* p, double* f, const Store& store) {
  for (int i = 0; i < t.n; ++i) {
    f[i] = p[0] - t.y[i];
    store(i, 0, 1.0);
    for (int j = 1; j < t.parameters; j += 2) {
      const double e = std::exp(-p[j + 1] * i);
      f[i] += p[j] * e;
      store(i, j, e);
      store(i, j + 1, -p[j] * i * e);
    }
  }
}

template <int kParameters>
struct Tiny {
  using Scalar = double;
  enum { NUM_RESIDUALS = Eigen::Dynamic, NUM_PARAMETERS = kParameters };
  const trial& t;
  int NumResiduals() const { return t.n; }
  bool operator()(const double* p, double* f, double* jacobian) const {  // columns first
    if (jacobian)
      evaluate(t, p, f, [&](int i, int j, double d) { jacobian[j * t.n + i] = d; });
    else
      evaluate(t, p, f, [](int, int, double) {});
    return true;
  }
};

template <int kParameters>
void fit_tiny(const trial& t, double* p) {
  Tiny<kParameters> f{t};
  ceres::TinySolver<Tiny<kParameters>> solver;
  solver.options.max_num_iterations = 200;
  solver.options.gradient_tolerance = 1e-12;
  solver.options.parameter_tolerance = 1e-10;
  Eigen::Matrix<double, kParameters, 1> x = Eigen::Map<const Eigen::VectorXd>(t.start, kParameters);
  solver.Solve(f, &x);
  std::memcpy(p, x.data(), sizeof(double) * kParameters);
}

struct Full final : ceres::CostFunction {
  explicit Full(const trial& given) : t(given) {
    set_num_residuals(t.n);
    mutable_parameter_block_sizes()->push_back(t.parameters);
  }
  bool Evaluate(double const* const* p, double* f, double** jacobian) const override {
    if (jacobian && jacobian[0])
      evaluate(t, p[0], f, [&](int i, int j, double d) { jacobian[0][i * t.parameters + j] = d; });
    else
      evaluate(t, p[0], f, [](int, int, double) {});
    return true;
  }
  const trial& t;
};

void fit_full(const trial& t, double* p) {
  std::memcpy(p, t.start, sizeof(double) * static_cast<std::size_t>(t.parameters));
  ceres::Problem problem;
  problem.AddResidualBlock(new Full(t), nullptr, p);
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_QR;
  options.max_num_iterations = 200;
  options.function_tolerance = 1e-14;
  options.parameter_tolerance = 1e-10;
  options.logging_type = ceres::SILENT;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
}

}  // namespace

int main(int argc, char** argv) {
  const bool tiny = argc > 1 && std::strcmp(argv[1], "tiny") == 0;
  trial t{};
  while (read_trial(&t)) {
    double times[kMostRepeats], p[kMostParameters];
    const int repeats = t.n > 5000 ? 5 : kMostRepeats;
    for (int r = 0; r < repeats; ++r) {
      const double from = now_us();
      if (!tiny)
        fit_full(t, p);
      else if (t.parameters == 3)
        fit_tiny<3>(t, p);
      else
        fit_tiny<5>(t, p);
      times[r] = now_us() - from;
    }
    answer(times, repeats, p, t.parameters);
    free(t.y);
  }
}
