// Many healthy on/off coils as a bench would see them: 20 us a sample, 14 bits,
// 0.3 % noise, 60 ms on and 40 ms off, 2 ms before the trigger.
#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "waveform/bench_coil.h"
#include "waveform/coil_figures.h"

using namespace pinproof::waveform;

namespace {

double between(std::mt19937& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

double log_between(std::mt19937& random, double low, double high) {
  return std::exp(between(random, std::log(low), std::log(high)));
}

// A coil that pulls in at 30 to 60 % of its final current (range from memory),
// with a plunger light enough to seat within a few milliseconds.
BenchCoil healthy(std::mt19937& random, const BenchDrive& drive) {
  BenchCoil c;
  c.ohm = log_between(random, 5, 30);
  const double henry = log_between(random, 3e-3, 60e-3);
  c.stroke_m = between(random, 0.3e-3, 0.8e-3);
  c.gap_m = c.stroke_m * between(random, 0.8, 2);
  c.k_Hm = henry * (c.gap_m + c.stroke_m);
  const double final_A = drive.supply_V / c.ohm;
  const double pull_A = final_A * between(random, 0.3, 0.6);
  c.preload_N = std::pow(henry * pull_A, 2) / (2 * c.k_Hm);
  c.spring_N_per_m = between(random, 0.1, 0.5) * c.preload_N / c.stroke_m;
  c.eddy_ohm = c.ohm * between(random, 4, 15);
  c.sat_Vs = henry * final_A * between(random, 1.8, 2.5);
  c.sat_A = 0.1 * final_A;
  // Travel takes one to three milliseconds at twice the preload.
  const double travel_s = between(random, 1e-3, 3e-3);
  c.mass_kg = c.preload_N * travel_s * travel_s / (2 * c.stroke_m);
  c.damping_Ns_per_m = 0.05 * c.preload_N * travel_s / c.stroke_m;
  return c;
}

}  // namespace

TEST_CASE("every healthy on/off coil's plunger is seen to move") {
  std::mt19937 random(4711);
  BenchDrive drive;
  double worst_seat = 0, worst_valley = 0, worst_l = 0, worst_r = 0;
  int l_within = 0, released = 0, coils = 0;
  for (int n = 0; n < 150; ++n) {
    drive.clamp_V = n % 2 == 0 ? 0.7 : 30;
    const BenchCoil coil = healthy(random, drive);
    const BenchRun truth = run(coil, drive, between(random, 0, 1));
    REQUIRE(truth.seat_s < 20e-3);  // it is healthy: it does seat
    ++coils;
    const auto f = analyse(digitise(truth.capture, 0.003, 14, static_cast<std::uint32_t>(n)), {});
    CAPTURE(n);
    CAPTURE(coil.ohm);
    CAPTURE(coil.inductance_at(0));
    CAPTURE(truth.deepest_fall_A * coil.ohm / drive.supply_V);
    CAPTURE(f.plunger_reason);
    REQUIRE(f.status == Status::ok);
    CHECK(f.plunger == Plunger::moved);
    REQUIRE(f.pull_in);
    // The valley lags behind the seat while the stop gives way, most in heavy
    // slow plungers; what is reported is the valley.
    CHECK(std::abs(f.pull_in->at_s - truth.seat_s) < 0.3e-3);
    CHECK(std::abs(f.pull_in->at_s - truth.valley_s) < 0.1e-3);
    CHECK(f.resistance_ohm.value == doctest::Approx(coil.ohm).epsilon(0.01));
    const double l = coil.inductance_at(0);
    if (f.inductance_H.usable()) {
      CHECK(std::abs(f.inductance_H.value - l) < std::max(0.05 * l, 4 * f.inductance_H.u));
      worst_l = std::max(worst_l, std::abs(f.inductance_H.value / l - 1));
      l_within += std::abs(f.inductance_H.value - l) <= 1.96 * f.inductance_H.u ? 1 : 0;
    }
    worst_seat = std::max(worst_seat, std::abs(f.pull_in->at_s - truth.seat_s));
    worst_valley = std::max(worst_valley, std::abs(f.pull_in->at_s - truth.valley_s));
    worst_r = std::max(worst_r, std::abs(f.resistance_ohm.value / coil.ohm - 1));
    if (f.release_s.usable()) {
      ++released;
      CHECK(std::abs(f.release_s.value - truth.back_s) < 4 * f.release_s.u + 0.2e-3);
    }
  }
  MESSAGE(coils, " coils; worst seat ", worst_seat * 1e3, " ms, valley ", worst_valley * 1e3,
          " ms, R ", worst_r * 100, " %, L ", worst_l * 100, " %; L inside its 95 % interval ",
          l_within, "; release seen ", released);
}

TEST_CASE("no jammed coil's plunger is said to move") {
  std::mt19937 random(815);
  BenchDrive drive;
  int told = 0;
  for (int n = 0; n < 100; ++n) {
    BenchCoil coil = healthy(random, drive);
    coil.jammed = true;
    if (n % 2 == 1) coil.rest_m = coil.stroke_m;
    const BenchRun truth = run(coil, drive, between(random, 0, 1));
    const auto f = analyse(digitise(truth.capture, 0.003, 14, static_cast<std::uint32_t>(n)), {});
    CAPTURE(n);
    CAPTURE(f.plunger_reason);
    CAPTURE(f.inductance_growth.value);
    CAPTURE(f.fit.reason);
    CHECK(f.plunger != Plunger::moved);
    if (f.plunger == Plunger::no_motion_seen) ++told;
  }
  MESSAGE("no motion told of ", told, " of 100");
  CHECK(told >= 90);
}
