// Estimators against the Cramer-Rao bound (Rao 1945, Cramer 1946), over 2,000
// noisy synthetic captures at each of three noise levels, where the model holds:
// a coil whose plunger does not move, switched on over 30 us by a source whose
// voltage and resistance are not known. The bound is for R, a and tau together
// with the source's two, both zero lines and the onset, which all have to be
// found from the same samples.
#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <random>

#include "waveform/coil_figures.h"

using namespace pinproof::waveform;

namespace {

constexpr std::size_t kBefore = 400, kOn = 3000;
constexpr double kInterval_s = 1e-5;

constexpr double kEdge_s = 3e-5;

// R, a, tau of the coil alone, onset in seconds after sample kBefore, the source's
// voltage and resistance, zero lines of i and v.
using Truth = Eigen::Matrix<double, 8, 1>;

// The current of a ramp of `edge` to a source with resistance r, from the step
// response's integral; the coil's a and tau change with the resistance in series.
Capture ideal(const Truth& x) {
  const double ohm = x[0], eddy_ohm = ohm * x[1] / (1 - x[1]), henry = x[2] * ohm * x[1];
  const double all = ohm + x[5], a = eddy_ohm / (all + eddy_ohm);
  const double tau = henry * (1 / all + 1 / eddy_ohm);
  const auto integral = [&](double t) {
    return t > 0 ? t - a * tau * (1 - std::exp(-t / tau)) : 0;
  };
  Capture out{0, kInterval_s, {}, {}};
  for (std::size_t k = 0; k < kBefore + kOn; ++k) {
    const double t = (static_cast<double>(k) - static_cast<double>(kBefore)) * kInterval_s - x[3];
    const double amps = x[4] / all * (integral(t) - integral(t - kEdge_s)) / kEdge_s;
    out.current_A.push_back(x[6] + amps);
    out.voltage_V.push_back(x[7] + x[4] * std::clamp(t / kEdge_s, 0.0, 1.0) - x[5] * amps);
  }
  return out;
}

struct Bound {
  std::array<double, 3> sd;  // of R, L = tau R a, tau
};

Bound bound_of(const Truth& x, double noise_A, double noise_V) {
  Eigen::Matrix<double, 8, 8> information = Eigen::Matrix<double, 8, 8>::Zero();
  Eigen::MatrixXd jacobian(2 * (kBefore + kOn), 8);
  for (int j = 0; j < 8; ++j) {
    const double step = j == 3 ? 1e-8 : j >= 5 ? 1e-6 : 1e-6 * x[j];
    Truth up = x, down = x;
    up[j] += step, down[j] -= step;
    const Capture a = ideal(up), b = ideal(down);
    for (std::size_t k = 0; k < kBefore + kOn; ++k) {
      const auto row = static_cast<Eigen::Index>(2 * k);
      jacobian(row, j) = (a.current_A[k] - b.current_A[k]) / (2 * step) / noise_A;
      jacobian(row + 1, j) = (a.voltage_V[k] - b.voltage_V[k]) / (2 * step) / noise_V;
    }
  }
  information = jacobian.transpose() * jacobian;
  const Eigen::Matrix<double, 8, 8> covariance = information.inverse();
  Truth by_l = Truth::Zero();
  by_l[0] = x[2] * x[1], by_l[1] = x[2] * x[0], by_l[2] = x[0] * x[1];
  return {{std::sqrt(covariance(0, 0)), std::sqrt(by_l.dot(covariance * by_l)),
           std::sqrt(covariance(2, 2))}};
}

struct Tally {
  double square = 0, sum = 0;
  int covered = 0;
  void add(double truth, const pinproof::Estimate& e) {
    const double error = e.value - truth;
    sum += error, square += error * error;
    covered += std::abs(error) <= 1.959964 * e.u;
  }
};

}  // namespace

// A variance over 2,000 draws is itself known to 3.2 % (k = 1), and a coverage
// to 0.5 %.
TEST_CASE("R, L and tau reach the Cramer-Rao bound, and their intervals cover the truth" *
          doctest::test_suite("statistics")) {
  constexpr int kDraws = 2000;
  std::printf("%-8s %-4s %14s %14s %10s %12s\n", "noise", "", "standard dev.", "bound", "variance",
              "95 % covers");
  for (const double noise : {0.002, 0.005, 0.01}) {
    Truth x;
    x << 13, 0.865, 2.9e-3, 0, 13.5, 0.1, 0, 0;
    const double noise_A = noise * x[4] / x[0], noise_V = noise * x[4];
    const Bound bound = bound_of(x, noise_A, noise_V);
    std::array<Tally, 3> tally;
    std::mt19937 random(static_cast<std::uint32_t>(1e4 * noise));
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> share(0, 1);
    for (int d = 0; d < kDraws; ++d) {
      x[3] = share(random) * kInterval_s;
      Capture capture = ideal(x);
      for (double& s : capture.current_A) s += noise_A * normal(random);
      for (double& s : capture.voltage_V) s += noise_V * normal(random);
      const auto f = analyse(capture, {});
      REQUIRE(f.status == Status::ok);
      REQUIRE(f.fit.to_s > 0.029);  // the whole pulse was fitted
      tally[0].add(x[0], f.resistance_ohm);
      tally[1].add(x[2] * x[0] * x[1], f.inductance_H);
      tally[2].add(x[2], f.time_constant_s);
    }
    const std::array names{"R", "L", "tau"};
    for (std::size_t q = 0; q < 3; ++q) {
      const double mean = tally[q].sum / kDraws;
      const double variance = tally[q].square / kDraws - mean * mean;
      const double ratio = variance / (bound.sd[q] * bound.sd[q]);
      const double covers = tally[q].covered / static_cast<double>(kDraws);
      std::printf("%5.1f %%  %-4s %14.4g %14.4g %10.3f %10.1f %%\n", 100 * noise, names[q],
                  std::sqrt(variance), bound.sd[q], ratio, 100 * covers);
      CAPTURE(noise);
      CAPTURE(names[q]);
      CHECK(ratio < 1.10);
      CHECK(covers > 0.93);
      CHECK(covers < 0.97);
      CHECK(std::abs(mean) < 0.25 * bound.sd[q]);  // no bias to speak of
    }
  }
}
