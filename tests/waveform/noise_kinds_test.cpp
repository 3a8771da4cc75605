// Noise that is not white, columns that are swapped, and captures of ten million
// samples: noticed, refused, or read as well as ever.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "waveform/bench_coil.h"
#include "waveform/coil_figures.h"
#include "waveform/residuals.h"

using namespace pinproof::waveform;

namespace {

// First-order autoregressive noise of standard deviation `sigma` with correlation
// exp(-1 / samples) from sample to sample.
void add_slow_noise(std::vector<double>& x, double sigma, double samples, std::mt19937& random) {
  std::normal_distribution<double> normal;
  const double keep = std::exp(-1 / samples), fresh = std::sqrt(1 - keep * keep);
  double state = normal(random);
  for (double& s : x) {
    s += sigma * state;
    state = keep * state + fresh * normal(random);
  }
}

Capture stuck_coil() {
  BenchCoil coil;
  coil.jammed = true;
  BenchDrive drive;
  drive.interval_s = 10e-6, drive.before_s = 10e-3, drive.pulse_s = 40e-3, drive.after_s = 20e-3;
  return run(coil, drive).capture;
}

}  // namespace

TEST_CASE("correlation times of white and of slow noise") {
  std::mt19937 random(5);
  std::vector<double> white(4000, 0.0), slow(4000, 0.0);
  add_slow_noise(white, 1, 1e-3, random);
  add_slow_noise(slow, 1, 10, random);
  CHECK(correlation_time(white) == doctest::Approx(1).epsilon(0.2));
  // Of an autoregression: (1 + r) / (1 - r), r = exp(-1 / 10).
  const double r = std::exp(-0.1);
  CHECK(correlation_time(slow) == doctest::Approx((1 + r) / (1 - r)).epsilon(0.35));
}

// White noise of the same size would let the intervals be five times too narrow.
TEST_CASE("intervals hold under correlated noise") {
  const Capture ideal = stuck_coil();
  int r_inside = 0, l_inside = 0, seen = 0;
  for (unsigned seed = 1; seed <= 200; ++seed) {
    std::mt19937 random(seed);
    Capture c = ideal;
    add_slow_noise(c.current_A, 2e-3, 12, random);
    add_slow_noise(c.voltage_V, 5e-3, 1e-3, random);
    const auto f = analyse(c, {});
    REQUIRE(f.status == Status::ok);
    REQUIRE(f.inductance_H.usable());
    ++seen;
    r_inside += std::abs(f.resistance_ohm.value - 13) < 1.96 * f.resistance_ohm.u;
    const double henry = BenchCoil{}.inductance_at(0);
    l_inside += std::abs(f.inductance_H.value - henry) < 1.96 * f.inductance_H.u;
    CHECK(f.plunger == Plunger::no_motion_seen);
  }
  MESSAGE("inside 95 % intervals of ", seen, ": R ", r_inside, ", L ", l_inside);
  CHECK(r_inside >= 180);
  CHECK(l_inside >= 176);
}

TEST_CASE("mains hum is noticed, by its frequency, and not where there is none") {
  const Capture ideal = stuck_coil();
  for (const double hertz : {0.0, 50.0, 60.0}) {
    CAPTURE(hertz);
    int right = 0;
    for (std::uint32_t seed = 1; seed <= 20; ++seed) {
      Capture c = digitise(ideal, 0.003, 14, seed);
      for (std::size_t k = 0; hertz > 0 && k < c.current_A.size(); ++k)
        c.current_A[k] += 5e-3 * std::sin(2 * M_PI * hertz * c.time(static_cast<double>(k)) + seed);
      const auto f = analyse(c, {});
      REQUIRE(f.status == Status::ok);
      CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.02));
      const bool told = hertz > 0 ? f.hum.hertz > 0 : f.hum.hertz == 0;
      right += told;
      if (hertz > 0 && f.hum.hertz > 0)
        CHECK(f.hum.amplitude == doctest::Approx(5e-3).epsilon(0.5));
    }
    CHECK(right >= 16);  // one period of it is all there is
  }
}

// Volts read as amperes: the "current" is there at once and the "voltage" creeps
// up behind it, which no coil does.
TEST_CASE("swapped columns are refused") {
  BenchCoil coil;
  for (const double clamp : {0.7, 30.0}) {
    BenchDrive drive;
    drive.clamp_V = clamp;
    for (std::uint32_t seed = 1; seed <= 5; ++seed) {
      Capture c = digitise(run(coil, drive).capture, 0.003, 14, seed);
      std::swap(c.current_A, c.voltage_V);
      const auto f = analyse(c, {});
      CHECK(f.status == Status::swapped);
      CHECK(std::isnan(f.resistance_ohm.value));
      CHECK_FALSE(f.pull_in);
    }
  }
}

TEST_CASE("ten million samples give the figures of ten thousand") {
  const Capture coarse = run(BenchCoil{}, {}).capture;
  const double span_s = coarse.interval_s * static_cast<double>(coarse.current_A.size() - 1);
  constexpr std::size_t kMany = 10'000'000;
  Capture c{coarse.start_s, span_s / static_cast<double>(kMany - 1), {}, {}};
  std::mt19937 random(3);
  std::normal_distribution<float> normal;
  for (std::size_t k = 0; k < kMany; ++k) {
    const double at = static_cast<double>(k) * c.interval_s / coarse.interval_s;
    const auto i = std::min(static_cast<std::size_t>(at), coarse.current_A.size() - 2);
    const double part = at - static_cast<double>(i);
    const auto between = [&](const std::vector<double>& x) {
      return x[i] + part * (x[i + 1] - x[i]);
    };
    c.current_A.push_back(between(coarse.current_A) + 5e-3 * static_cast<double>(normal(random)));
    c.voltage_V.push_back(between(coarse.voltage_V) + 5e-2 * static_cast<double>(normal(random)));
  }
  const auto f = analyse(c, {});
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.002));
  CHECK(f.inductance_H.value == doctest::Approx(BenchCoil{}.inductance_at(0)).epsilon(0.01));
  CHECK(f.plunger == Plunger::moved);
  CHECK(f.travel_begin);
}
