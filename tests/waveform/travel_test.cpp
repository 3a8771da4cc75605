// The plunger's travel, its energies, its margin and its likeness to good units,
// against the states of simulations that know them.
#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "tables/capture_csv.h"
#include "waveform/bench_coil.h"
#include "waveform/compare.h"
#include "waveform/files.h"
#include "waveform/magnetics.h"
#include "waveform/margin.h"

using namespace pinproof::waveform;

namespace {

// Truths of tests/data/spice (events.csv, and integrals over the runs' states):
// 2 % of the travel in ms; work of the field on the plunger while it closes, the
// integral of lambda^2 / 2k over the travel, in mJ.
struct Truth {
  const char* name;
  double begin_ms, work_mJ;
};
constexpr Truth kTruths[] = {{"healthy_diode", 2.218, 3.8388},
                             {"contact_plus_3ohm", 2.476, 3.3536},
                             {"hot_120C", 2.702, 3.0755}};
// sqrt(2 F0 / k) (g0 + S) with F0 = 3 N, k = 35.3 uH m: current that lifts the
// plunger off its rest (the netlist's own equations).
const double kFreeing_A = std::sqrt(2 * 3 / 35.3e-6) * 1.1e-3;

Capture spice(const char* name) {
  return pinproof::tables::read_capture_csv(data_file("spice/" + std::string(name) + ".csv"), {})
      .capture;
}

BenchCoil drawn(std::mt19937& random, double spread) {
  std::normal_distribution<double> normal;
  const auto about = [&](double x) { return x * std::exp(spread * normal(random)); };
  BenchCoil c;
  c.ohm = about(c.ohm), c.k_Hm = about(c.k_Hm), c.preload_N = about(c.preload_N);
  c.eddy_ohm = about(c.eddy_ohm), c.gap_m = about(c.gap_m), c.stroke_m = about(c.stroke_m);
  return c;
}

// Whether it seats on a long pulse from a stiff source.
bool seats(BenchCoil coil, double volt) {
  BenchDrive drive;
  drive.supply_V = volt, drive.source_ohm = 1e-3, drive.pulse_s = 0.15, drive.after_s = 1e-3;
  drive.interval_s = 1e-3;
  return std::isfinite(run(coil, drive).seat_s);
}

}  // namespace

TEST_CASE("begin of travel, freeing current and work of the stroke are the simulation's") {
  for (const Truth& t : kTruths) {
    CAPTURE(t.name);
    const Capture ideal = spice(t.name);
    for (std::uint32_t seed = 0; seed <= 8; ++seed) {
      const Capture c = seed == 0 ? ideal : digitise(ideal, 0.005, 12, seed);
      const auto f = analyse(c, {});
      const auto m = magnetics_of(c, {}, f);
      REQUIRE(f.travel_begin);
      CHECK(std::abs(f.travel_begin->at_s * 1e3 - t.begin_ms) < (seed == 0 ? 0.03 : 0.12));
      CHECK(f.needed_current_A.value ==
            doctest::Approx(kFreeing_A).epsilon(seed == 0 ? 0.02 : 0.06));
      CHECK(std::abs(f.needed_current_A.value - kFreeing_A) < 3 * f.needed_current_A.u);
      CHECK(m.stroke_work_J.value * 1e3 == doctest::Approx(t.work_mJ).epsilon(0.05));
      CHECK(std::abs(m.stroke_work_J.value * 1e3 - t.work_mJ) < 3e3 * m.stroke_work_J.u);
      CHECK(f.bounces == 0);
    }
  }
}

// At rest L = k / (g0 + S) + leakage; seated and before saturation k / g0 + leakage.
TEST_CASE("incremental inductance at rest and seated, and the drift of the linkage") {
  const Capture c = spice("hot_120C");
  const auto f = analyse(c, {});
  const auto m = magnetics_of(c, {}, f);
  REQUIRE(m.at_rest.size() >= 4);
  REQUIRE(m.seated.size() >= 4);
  CHECK(m.at_rest[1].inductance_H.value == doctest::Approx(35.3e-6 / 1.1e-3 + 1e-3).epsilon(0.005));
  CHECK(m.seated[2].inductance_H.value == doctest::Approx(35.3e-6 / 0.6e-3 + 1e-3).epsilon(0.015));
  CHECK(m.seated.back().inductance_H.value < m.seated[2].inductance_H.value);  // the iron saturates
  CHECK(std::abs(m.drift_Vs.value) < 0.005 * f.flux_linkage_Vs.value);
  CHECK(m.loop.size() > 200);
}

TEST_CASE("a plunger that bounces is seen to, one that does not is not") {
  BenchDrive drive;
  drive.interval_s = 5e-6;
  BenchCoil coil;
  const auto still = analyse(digitise(run(coil, drive).capture, 0.001, 14, 1), {});
  CHECK(still.bounces == 0);
  coil.stop_loss_s_per_m = 0.15;
  const auto lively = analyse(digitise(run(coil, drive).capture, 0.001, 14, 1), {});
  MESSAGE("bounces seen ", lively.bounces);
  CHECK(lively.bounces >= 1);
  CHECK(lively.plunger == Plunger::moved);
}

// The voltage at which forty unlike coils just seat, hot, found by bisection in
// the simulation, against the margin told from one cold capture.
TEST_CASE("the hot margin foretells where a coil stops pulling in") {
  std::mt19937 random(271);
  constexpr double kHotRatio = 1.39293;  // IEC 60028, 120 against 20 degrees Celsius
  int inside = 0, coils = 0;
  double worst = 0;
  for (int n = 0; n < 40; ++n) {
    const BenchCoil coil = drawn(random, 0.15);
    const auto truth = run(coil, {}, 0.4);
    const auto f = analyse(digitise(truth.capture, 0.003, 14, static_cast<std::uint32_t>(n)), {});
    const Margin m = margin_at(f, 9, {kHotRatio, 0});
    CAPTURE(n);
    CAPTURE(m.reason);
    REQUIRE(m.reason.empty());
    BenchCoil hot = coil;
    hot.ohm *= kHotRatio;
    double low = 1, high = 30;
    for (int i = 0; i < 12; ++i) {
      const double middle = (low + high) / 2;
      (seats(hot, middle) ? high : low) = middle;
    }
    const double foretold = 9 / (1 + m.margin.value);
    const double u = foretold * m.margin.u / (1 + m.margin.value);
    worst = std::max(worst, std::abs(foretold / high - 1));
    inside += std::abs(foretold - high) < 2 * u;
    ++coils;
  }
  MESSAGE("lowest voltage foretold within ", 100 * worst, " %, inside U ", inside, " of ", coils);
  CHECK(worst < 0.12);
  CHECK(inside >= 36);
}

// Good units drawn from one kind: those that lie beyond the stated share must be
// that share, whatever the figures' own noise.
TEST_CASE("the distance from known-good units keeps its false alarm rate" *
          doctest::test_suite("statistics")) {
  std::mt19937 random(99);
  constexpr int kGroups = 25, kGood = 12, kNew = 16;
  int beyond5 = 0, beyond1 = 0, all = 0;
  std::uint32_t seed = 1;
  const auto traits = [&](const BenchCoil& coil) {
    BenchDrive drive;
    drive.pulse_s = 45e-3, drive.after_s = 5e-3;
    const Capture c = digitise(run(coil, drive, 0.4).capture, 0.003, 14, seed++);
    return traits_of(analyse(c, {}), {1, 0});
  };
  for (int g = 0; g < kGroups; ++g) {
    std::vector<Traits> good;
    for (int n = 0; n < kGood; ++n) good.push_back(traits(drawn(random, 0.03)));
    for (int n = 0; n < kNew; ++n) {
      const Distance d = distance_from(traits(drawn(random, 0.03)), good);
      REQUIRE(d.reason.empty());
      ++all, beyond5 += d.false_alarm < 0.05, beyond1 += d.false_alarm < 0.01;
    }
  }
  MESSAGE("of ", all, " good units ", beyond5, " beyond 5 %, ", beyond1, " beyond 1 %");
  // Units of one group share its good ones, so their number scatters more than a
  // binomial's 4.4: three times twice that.
  CHECK(std::abs(beyond5 - 0.05 * all) < 26);
  CHECK(beyond1 < 0.01 * all + 12);
  // And a unit that is not one of them lies far out.
  BenchCoil odd;
  odd.k_Hm *= 0.8;
  std::vector<Traits> good;
  for (int n = 0; n < kGood; ++n) good.push_back(traits(drawn(random, 0.03)));
  CHECK(distance_from(traits(odd), good).false_alarm < 0.01);
  CHECK_FALSE(distance_from(traits(odd), std::span(good).first(3)).reason.empty());
}
