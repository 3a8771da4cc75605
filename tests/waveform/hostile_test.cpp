// Captures that go wrong at a bench: a status or a reason, never a wrong figure.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "waveform/bench_coil.h"
#include "waveform/coil_figures.h"

using namespace pinproof::waveform;

namespace {

BenchRun healthy(const BenchDrive& drive = {}) { return run(BenchCoil{}, drive); }

Capture noisy(const BenchRun& r, std::uint32_t seed = 7) {
  return digitise(r.capture, 0.003, 14, seed);
}

void check_healthy(const CoilFigures& f) {
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.01));
  CHECK(f.inductance_H.value == doctest::Approx(BenchCoil{}.inductance_at(0)).epsilon(0.03));
  CHECK(f.plunger == Plunger::moved);
}

// No figure at all may come with a status that is not ok.
void check_no_figures(const CoilFigures& f, Status status) {
  CHECK(text_of(f.status) == text_of(status));
  CHECK_FALSE(text_of(f.status).empty());
  CHECK(std::isnan(f.resistance_ohm.value));
  CHECK(std::isnan(f.inductance_H.value));
  CHECK_FALSE(f.pull_in);
  CHECK(f.plunger == Plunger::not_judged);
}

Capture joined(const Capture& a, const Capture& b) {
  Capture out = a;
  out.current_A.insert(out.current_A.end(), b.current_A.begin(), b.current_A.end());
  out.voltage_V.insert(out.voltage_V.end(), b.voltage_V.begin(), b.voltage_V.end());
  return out;
}

Capture first(const Capture& a, std::size_t n) {
  return {a.start_s,
          a.interval_s,
          {a.current_A.begin(), a.current_A.begin() + static_cast<std::ptrdiff_t>(n)},
          {a.voltage_V.begin(), a.voltage_V.begin() + static_cast<std::ptrdiff_t>(n)}};
}

void limit(std::vector<double>& x, double low, double high) {
  for (double& s : x) s = std::clamp(s, low, high);
}

}  // namespace

TEST_CASE("the healthy capture these are made from is judged well") {
  check_healthy(analyse(noisy(healthy()), {}));
}

TEST_CASE("samples that are no numbers, or too few") {
  for (const double bad : {std::nan(""), std::numeric_limits<double>::infinity()}) {
    Capture c = noisy(healthy());
    c.current_A[700] = bad;
    check_no_figures(analyse(c, {}), Status::not_finite);
    c = noisy(healthy());
    c.voltage_V[3] = bad;
    check_no_figures(analyse(c, {}), Status::not_finite);
  }
  check_no_figures(analyse({}, {}), Status::too_short);
  check_no_figures(analyse(first(noisy(healthy()), 49), {}), Status::too_short);
  Capture c = noisy(healthy());
  c.voltage_V.pop_back();
  check_no_figures(analyse(c, {}), Status::too_short);
  CHECK(fault_in(c) == "voltage and current have different numbers of samples");
  c = noisy(healthy());
  c.interval_s = 0;
  check_no_figures(analyse(c, {}), Status::too_short);
  c.interval_s = std::nan("");
  check_no_figures(analyse(c, {}), Status::too_short);
}

TEST_CASE("nothing switched on") {
  Capture c = first(noisy(healthy()), 95);  // the trigger is at sample 100
  check_no_figures(analyse(c, {}), Status::no_step);
  c = {0, 20e-6, std::vector<double>(3000, 0.0), std::vector<double>(3000, 0.0)};
  check_no_figures(analyse(c, {}), Status::no_step);
  check_no_figures(analyse(digitise(c, 0.003, 0, 3), {}), Status::no_step);
  // Already on before the first sample, and on to the end.
  c = {0, 20e-6, std::vector<double>(3000, 1.0), std::vector<double>(3000, 13.0)};
  check_no_figures(analyse(c, {}), Status::no_step);
}

TEST_CASE("an open coil draws no current") {
  BenchRun r = healthy();
  std::fill(r.capture.current_A.begin(), r.capture.current_A.end(), 0.0);
  std::mt19937 random(3);
  std::normal_distribution<double> normal(0, 0.003);
  for (double& s : r.capture.current_A) s = normal(random);
  for (double& v : r.capture.voltage_V) v = v > 0 ? 13.5 : 0;
  const auto f = analyse(r.capture, {});
  check_no_figures(f, Status::no_current);
  REQUIRE(f.findings.size() == 1);
  CHECK(f.findings[0].kind == "coil-open");
}

TEST_CASE("leads the wrong way round") {
  Capture c = noisy(healthy());
  for (double& v : c.voltage_V) v = -v;
  check_no_figures(analyse(c, {}), Status::wrong_polarity);
  for (double& i : c.current_A) i = -i;
  check_no_figures(analyse(c, {}), Status::wrong_polarity);
  c = noisy(healthy());
  for (double& i : c.current_A) i = -i;
  check_no_figures(analyse(c, {}), Status::wrong_polarity);
  // The flyback of a reversed channel is positive and higher than the step.
  BenchDrive zener;
  zener.clamp_V = 60;
  c = noisy(healthy(zener));
  for (double& v : c.voltage_V) v = -v;
  check_no_figures(analyse(c, {}), Status::wrong_polarity);
}

TEST_CASE("a signal beyond the digitiser's range, told or not") {
  AnalysisOptions told;
  told.clip_A = 0.8;
  for (const double top : {0.5, 0.8, 0.95, 1.0}) {
    CAPTURE(top);
    Capture c = noisy(healthy());
    limit(c.current_A, -top, top);
    check_no_figures(analyse(c, {}), Status::clipped);
    if (top <= 0.8) check_no_figures(analyse(c, told), Status::clipped);
    c = healthy().capture;  // without noise
    if (top > 0.95) continue;
    limit(c.current_A, -top, top);
    check_no_figures(analyse(c, {}), Status::clipped);
  }
  Capture c = noisy(healthy());
  limit(c.voltage_V, -10, 10);
  check_no_figures(analyse(c, {}), Status::clipped);
  told.clip_A = 0, told.clip_V = 10;
  check_no_figures(analyse(c, told), Status::clipped);
}

TEST_CASE("a settled current in coarse steps is not clipped") {
  for (const int bits : {8, 10, 12}) {
    CAPTURE(bits);
    for (const double noise : {0.0, 0.0005, 0.003})
      CHECK(analyse(digitise(healthy().capture, noise, bits, 5), {}).status == Status::ok);
  }
}

TEST_CASE("a flyback beyond the range leaves the rest and takes the clamp") {
  BenchDrive zener;
  zener.clamp_V = 40;
  Capture c = noisy(healthy(zener));
  limit(c.voltage_V, -20, 20);
  for (const double range : {0.0, 20.0}) {
    AnalysisOptions options;
    options.clip_V = range;
    const auto f = analyse(c, options);
    check_healthy(f);
    CHECK(std::isnan(f.clamp_V.value));
    CHECK(f.suppression == SeenSuppression::not_judged);
  }
}

TEST_CASE("zero lines that are off") {
  Capture c = noisy(healthy());
  for (double& i : c.current_A) i += 0.2;
  for (double& v : c.voltage_V) v -= 1.5;
  check_healthy(analyse(c, {}));
  // Few samples before the step: the quiet end of the capture tells the zero.
  const auto on = static_cast<std::ptrdiff_t>(97);
  c.current_A.erase(c.current_A.begin(), c.current_A.begin() + on);
  c.voltage_V.erase(c.voltage_V.begin(), c.voltage_V.begin() + on);
  const auto f = analyse(c, {});
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.01));
  CHECK(f.plunger == Plunger::moved);
}

TEST_CASE("an unknown zero line counts in the uncertainty") {
  Capture c = noisy(healthy());
  const std::size_t on = 96, pulse = 2900;
  Capture cut{0, c.interval_s, {}, {}};
  cut.current_A.assign(c.current_A.begin() + on, c.current_A.begin() + on + pulse);
  cut.voltage_V.assign(c.voltage_V.begin() + on, c.voltage_V.begin() + on + pulse);
  AnalysisOptions options;
  options.current_offset_u = 0.01;
  const auto f = analyse(cut, options);
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.u > 0.12);  // 10 mA of 1.03 A, of 13 ohm
  CHECK(std::isnan(f.off_s));
  CHECK(std::isnan(f.release_s.value));
  CHECK_FALSE(f.release_reason.empty());
}

TEST_CASE("a capture that starts after the switch-on gives R alone") {
  Capture c = noisy(healthy());
  for (const bool with_voltage : {true, false})
    for (const std::ptrdiff_t from : {105, 200, 1000}) {
      CAPTURE(from);
      Capture cut{0, c.interval_s, {}, {}};
      cut.current_A.assign(c.current_A.begin() + from, c.current_A.end());
      if (with_voltage) cut.voltage_V.assign(c.voltage_V.begin() + from, c.voltage_V.end());
      AnalysisOptions options;
      options.supply_V = 13.4;
      const auto f = analyse(cut, options);
      if (with_voltage) {
        CHECK(text_of(f.status) == text_of(Status::late_start));
        CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.01));
      }
      CHECK(f.status != Status::ok);
      CHECK(std::isnan(f.inductance_H.value));
      CHECK_FALSE(f.pull_in);
    }
}

TEST_CASE("two pulses, a chopped pulse, a contact that opens in between") {
  const Capture one = noisy(healthy());
  check_no_figures(analyse(joined(one, noisy(healthy(), 8)), {}), Status::two_steps);
  Capture chopped = healthy().capture;
  for (std::size_t k = 0; k < chopped.voltage_V.size(); ++k)
    if (chopped.voltage_V[k] > 1 && (k / 50) % 2 == 1) chopped.voltage_V[k] = -0.7;
  const auto f = analyse(digitise(chopped, 0.003, 14, 3), {});
  CHECK((f.status == Status::two_steps || f.status == Status::too_short));
  CHECK(std::isnan(f.resistance_ohm.value));
  Capture one_spike = noisy(healthy());
  one_spike.voltage_V[1500] = 0;
  one_spike.current_A[2000] = 0;
  check_healthy(analyse(one_spike, {}));
}

TEST_CASE("a pulse that ends before the current has settled") {
  BenchDrive drive;
  for (const double pulse_s : {0.8e-3, 3e-3}) {
    drive.pulse_s = pulse_s;
    check_no_figures(analyse(noisy(healthy(drive)), {}), Status::too_short);
  }
  // The dip needs no settled current.
  drive.pulse_s = 7e-3;
  const BenchRun r = healthy(drive);
  const auto f = analyse(noisy(r), {});
  CHECK(f.status == Status::too_short);
  CHECK(std::isnan(f.resistance_ohm.value));
  CHECK(std::isnan(f.inductance_H.value));
  REQUIRE(f.pull_in);
  CHECK(f.plunger == Plunger::moved);
  CHECK(std::abs(f.pull_in->at_s - r.valley_s) < 0.1e-3);
}

TEST_CASE("a pulse of any length gives the right R or none") {
  int told = 0;
  for (int half_ms = 1; half_ms <= 80; ++half_ms) {
    BenchDrive drive;
    drive.pulse_s = 0.5e-3 * half_ms;
    CAPTURE(drive.pulse_s);
    const auto f = analyse(noisy(healthy(drive), static_cast<std::uint32_t>(half_ms)), {});
    CHECK((f.status == Status::ok || f.status == Status::too_short));
    CHECK((f.status == Status::ok) == f.resistance_ohm.usable());
    if (f.status != Status::ok) continue;
    ++told;
    CHECK(std::abs(f.resistance_ohm.value - 13) < 3 * f.resistance_ohm.u);
    CHECK(f.resistance_ohm.u < 0.65);
  }
  CHECK(told >= 40);
}

TEST_CASE("a voltage that rises slowly gives R and no times") {
  BenchDrive drive;
  drive.edge_s = 5e-3;
  const auto f = analyse(noisy(healthy(drive)), {});
  CHECK(text_of(f.status) == text_of(Status::slow_step));
  CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.01));
  CHECK(std::isnan(f.inductance_H.value));
  CHECK_FALSE(f.pull_in);
  CHECK(std::isnan(f.release_s.value));
  drive.edge_s = 0.1e-3;  // a slow transistor
  check_healthy(analyse(noisy(healthy(drive)), {}));
}

TEST_CASE("a source that gives way is not the coil's") {
  BenchDrive drive;
  drive.source_ohm = 1.5;  // thin leads
  const auto f = analyse(noisy(healthy(drive)), {});
  check_healthy(f);
  CHECK_FALSE(f.current_limited);
  CHECK(f.findings.empty());
}

TEST_CASE("a supply in current limit is named, and R stays right") {
  BenchDrive drive;
  for (const double limit_A : {0.3, 0.75, 0.9}) {
    CAPTURE(limit_A);
    drive.limit_A = limit_A;
    const auto f = analyse(noisy(healthy(drive)), {});
    REQUIRE(f.status == Status::ok);
    CHECK(f.current_limited);
    CHECK(f.resistance_ohm.value == doctest::Approx(13).epsilon(0.01));
    CHECK(f.inductance_H.value == doctest::Approx(BenchCoil{}.inductance_at(0)).epsilon(0.03));
    CHECK(f.final_current_A.value == doctest::Approx(limit_A).epsilon(0.01));
    // Below the pull-in current nothing moves; that must not be blamed on the coil.
    CHECK(f.plunger == (limit_A < 0.5 ? Plunger::not_judged : Plunger::moved));
    REQUIRE(f.findings.size() == 1);
    CHECK(f.findings[0].kind == "supply-current-limit");
  }
}

TEST_CASE("a supply that overshoots its limit makes no plunger move") {
  BenchCoil stuck;
  stuck.jammed = true;
  BenchRun r = run(stuck, BenchDrive{});
  // The current runs to 0.7 A, falls back to 0.5 A and recovers to 0.6 A: drawn
  // by a supply, so the voltage follows R i + L di/dt.
  Capture& c = r.capture;
  double before = 0;
  for (std::size_t k = 0; k < c.current_A.size(); ++k) {
    const double ms = (c.time(static_cast<double>(k)) - r.onset_s) * 1e3;
    if (ms < 3 || ms > 59.9) {
      before = c.current_A[k];
      continue;
    }
    c.current_A[k] = 0.6 + (before - 0.6) * std::exp(-(ms - 3) / 0.8) * std::cos((ms - 3) * 1.5);
    const double slope = (c.current_A[k] - c.current_A[k - 1]) / c.interval_s;
    c.voltage_V[k] = 13 * c.current_A[k] + 20e-3 * slope;
  }
  const auto f = analyse(noisy(r), {});
  CHECK(f.plunger != Plunger::moved);
  CHECK_FALSE(f.pull_in);
}

TEST_CASE("a shorted coil on a limited supply") {
  BenchCoil shorted;
  shorted.ohm = 0.15, shorted.k_Hm = 1e-9, shorted.eddy_ohm = 1, shorted.jammed = true;
  shorted.sat_Vs = 1;
  BenchDrive drive;
  drive.limit_A = 3;
  const auto f = analyse(noisy(run(shorted, drive)), {});
  REQUIRE(f.status == Status::ok);
  CHECK(f.resistance_ohm.value == doctest::Approx(0.15).epsilon(0.05));
  REQUIRE_FALSE(f.findings.empty());
  CHECK(f.findings[0].kind == "coil-shorted");
  CHECK(f.plunger != Plunger::moved);
}

TEST_CASE("a dead short, whose voltage does not show") {
  Capture c{-2e-3, 20e-6, std::vector<double>(5000, 0.0), std::vector<double>(5000, 0.0)};
  for (std::size_t k = 100; k < 3100; ++k) c.current_A[k] = 3, c.voltage_V[k] = 0.06;
  const auto f = analyse(digitise(c, 0.003, 14, 9), {});
  CHECK(std::any_of(f.findings.begin(), f.findings.end(),
                    [](const CoilFinding& x) { return x.kind == "coil-shorted"; }));
  CHECK_FALSE(f.pull_in);
  CHECK(f.plunger != Plunger::moved);
}

TEST_CASE("channels that are not in step are not fitted") {
  Capture c = healthy().capture;
  std::rotate(c.current_A.rbegin(), c.current_A.rbegin() + 40, c.current_A.rend());  // 0.8 ms late
  const auto f = analyse(digitise(c, 0.003, 14, 2), {});
  CHECK_FALSE(f.inductance_H.usable());
  CHECK_FALSE(f.fit.reason.empty());
}
