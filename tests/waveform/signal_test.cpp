#include "waveform/signal.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

using namespace pinproof::waveform;

namespace {

std::vector<double> noise(std::size_t n, double sigma, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal(0, sigma);
  std::vector<double> out(n);
  for (double& x : out) x = normal(random);
  return out;
}

std::vector<double> parabola(std::size_t n) {
  std::vector<double> out;
  for (std::size_t k = 0; k < n; ++k) {
    const double t = static_cast<double>(k) - 20.3;
    out.push_back(5 - 0.25 * t * t);
  }
  return out;
}

}  // namespace

TEST_CASE("the quadratic smoother keeps a parabola and its slope") {
  const auto x = parabola(60);
  const auto y = smooth(x, 6);
  const auto d = slope(x, 6);
  for (std::size_t k = 0; k < x.size(); ++k) CHECK(y[k] == doctest::Approx(x[k]));
  for (std::size_t k = 6; k < 54; ++k)
    CHECK(d[k] == doctest::Approx(-0.5 * (static_cast<double>(k) - 20.3)));
}

TEST_CASE("smoothing leaves the share of white noise that is claimed") {
  const auto x = noise(200000, 1, 11);
  for (const std::size_t half : {2U, 5U, 20U})
    CHECK(deviation(smooth(x, half)) == doctest::Approx(smoothed_share(half)).epsilon(0.03));
  // Savitzky and Golay 1964, quadratic over five points: 17/35 in the middle.
  CHECK(smoothed_share(2) == doctest::Approx(std::sqrt(17.0 / 35.0)));
}

TEST_CASE("the noise of a sample is seen through a signal and its jumps") {
  auto x = noise(5000, 0.01, 12);
  for (std::size_t k = 0; k < x.size(); ++k) {
    x[k] += std::sin(static_cast<double>(k) / 300);
    if (k > 2000) x[k] += 3;
  }
  CHECK(noise_of(x) == doctest::Approx(0.01).epsilon(0.05));
  for (double& s : x) s = std::round(s / 0.0625) * 0.0625;  // a digitiser coarser than the noise
  CHECK(noise_of(x) == doctest::Approx(0.0625 / std::sqrt(12.0)));
  CHECK(quantum_of(x) == 0.0625);
  CHECK(noise_of(std::vector<double>(20, 1.0)) == 0);
  std::vector<double> step(40, 0.0);  // an ideal step is no coarse digitiser
  std::fill(step.begin() + 20, step.end(), 13.5);
  CHECK(noise_of(step) == 0);
}

TEST_CASE("a vertex is found between samples, with an honest uncertainty") {
  const auto x = parabola(60);
  const auto exact = vertex_of(x, 22, 8, 0);
  CHECK(exact.index == doctest::Approx(20.3));
  CHECK(exact.value == doctest::Approx(5));
  double sum = 0, claimed = 0;
  for (std::uint32_t seed = 0; seed < 400; ++seed) {
    auto noisy = noise(60, 0.5, seed);
    for (std::size_t k = 0; k < x.size(); ++k) noisy[k] += x[k];
    const auto v = vertex_of(noisy, 20, 8, 0.5);
    sum += (v.index - 20.3) * (v.index - 20.3);
    claimed = v.u;
  }
  CHECK(std::sqrt(sum / 400) == doctest::Approx(claimed).epsilon(0.15));
  const std::vector<double> line{0, 1, 2, 3, 4, 5, 6, 7, 8};
  CHECK(vertex_of(line, 4, 3, 0.1).u == 3);
}

TEST_CASE("a dip needs its depth on both sides") {
  const std::vector<double> x{0, 1, 3, 5, 4, 3.5, 4.2, 6, 8, 8, 7.9, 8};
  const auto dip = find_dip(x, 0, x.size(), 1.0);
  REQUIRE(dip);
  CHECK(dip->peak == 3);
  CHECK(dip->valley == 5);
  CHECK_FALSE(find_dip(x, 0, x.size(), 1.6));
  CHECK_FALSE(find_dip(x, 0, 6, 1.0));  // falls, and the rise is not seen any more
}

TEST_CASE("crossings, runs and spikes") {
  const std::vector<double> x{0, 0, 2, 2, 9, 2, 0, 0};
  CHECK(*rises_through(x, 1, 0) == 1.5);
  CHECK(*falls_through(x, 1, 0) == 5.5);
  CHECK_FALSE(rises_through(x, 10, 0));
  CHECK(without_spikes(x)[4] == 2);
  const auto above = [](double s) { return s > 1; };
  CHECK(*first_run(std::span<const double>(x), 0, 4, above) == 2);
  CHECK_FALSE(first_run(std::span<const double>(x), 0, 5, above));
  CHECK(*first_run(std::span<const double>(x), 0, 5, [](double s) { return s < 1; }) == 6);
}
