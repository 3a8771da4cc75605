// Other coils, simulated by Debian's ngspice while the test runs
// (tests/data/netlists), so that no figure rests on one invented coil. A machine
// without ngspice fails here.
#include <doctest/doctest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <sstream>

#include "paths.h"
#include "waveform/bench_coil.h"
#include "waveform/coil_figures.h"
#include "waveform/files.h"

using namespace pinproof::waveform;
namespace fs = std::filesystem;

namespace {

constexpr double kStep_s = 1.0005e-3;  // the switch's threshold in tail.inc

struct Simulated {
  Capture capture;
  double seat_s = NAN;  // first sample at or beyond the stroke, from the step
  double back_s = NAN;  // first at or below zero after the switch-off
};

fs::path scratch() {
  std::string name = (fs::temp_directory_path() / "waveform-XXXXXX").string();
  REQUIRE(mkdtemp(name.data()) != nullptr);
  return name;
}

// Runs one netlist in a directory of its own and reads the states it wrote.
Simulated simulate(const std::string& name, double stroke_mm, double off_s, std::size_t every) {
  const fs::path dir = scratch();
  const std::string netlist = pinproof::tests::data_dir() + "/netlists/" + name + ".cir";
  const std::string command =
      "cd '" + dir.string() + "' && ngspice -b '" + netlist + "' > log 2>&1";
  REQUIRE_MESSAGE(std::system(command.c_str()) == 0, "ngspice is needed on the PATH: ", command);
  const std::string log = text_of_file((dir / "log").string());
  REQUIRE_MESSAGE(log.find("aborted") == std::string::npos, log);
  std::istringstream in(text_of_file((dir / "states.txt").string()));
  fs::remove_all(dir);
  std::string header;
  std::getline(in, header);
  Simulated out;
  double t = 0, amps = 0, volts = 0, flux = 0, y = 0, first = NAN, second = NAN;
  for (std::size_t n = 0; in >> t >> amps >> volts >> flux >> y; ++n) {
    if (std::isnan(out.seat_s) && y >= stroke_mm) out.seat_s = t - kStep_s;
    if (t > off_s && std::isnan(out.back_s) && y <= 0) out.back_s = t - off_s;
    if (n % every != 0) continue;
    (std::isnan(first) ? first : std::isnan(second) ? second : t) = t;
    out.capture.current_A.push_back(amps);
    out.capture.voltage_V.push_back(volts);
  }
  REQUIRE(out.capture.current_A.size() > 1000);
  out.capture.start_s = first;
  out.capture.interval_s = second - first;
  return out;
}

void check_on_off(const Simulated& s, double ohm, double henry, double noise) {
  for (std::uint32_t seed = 1; seed <= (noise > 0 ? 10 : 1); ++seed) {
    CAPTURE(seed);
    const auto f = analyse(noise > 0 ? digitise(s.capture, noise, 14, seed) : s.capture, {});
    REQUIRE(f.status == Status::ok);
    REQUIRE(f.pull_in);
    MESSAGE("R ", f.resistance_ohm.value, " of ", ohm, ", L ", f.inductance_H.value * 1e3, " of ",
            henry * 1e3, " mH, seat ", f.pull_in->at_s * 1e3, " of ", s.seat_s * 1e3,
            " ms, release ", f.release_s.value * 1e3, " of ", s.back_s * 1e3, " ms");
    CHECK(f.resistance_ohm.value == doctest::Approx(ohm).epsilon(noise > 0 ? 0.01 : 0.001));
    CHECK(f.inductance_H.value == doctest::Approx(henry).epsilon(noise > 0 ? 0.03 : 0.01));
    CHECK(f.plunger == Plunger::moved);
    CHECK(std::abs(f.pull_in->at_s - s.seat_s) < 0.1e-3);
    if (f.release_s.usable()) CHECK(std::abs(f.release_s.value - s.back_s) < 0.2e-3);
  }
}

}  // namespace

TEST_CASE("2 ohm peak-and-hold coil on a supply in current limit") {
  const auto s = simulate("peak_and_hold_2ohm", 0.3, 31e-3, 5);
  // k / (g0 + stroke - y0) + leakage of the netlist
  check_on_off(s, 2.0, 1.8e-6 / 0.601e-3 + 0.1e-3, 0);
  check_on_off(s, 2.0, 1.8e-6 / 0.601e-3 + 0.1e-3, 0.003);
  const auto f = analyse(s.capture, {});
  CHECK(f.current_limited);
  CHECK(f.final_current_A.value == doctest::Approx(4).epsilon(0.01));
  REQUIRE(f.findings.size() == 1);
  CHECK(f.findings[0].kind == "supply-current-limit");
}

TEST_CASE("24 ohm on/off coil with a 33 V zener") {
  const auto s = simulate("on_off_24ohm", 0.5, 51e-3, 5);
  check_on_off(s, 24.0, 49.5e-6 / 1.1003e-3 + 1.5e-3, 0);
  check_on_off(s, 24.0, 49.5e-6 / 1.1003e-3 + 1.5e-3, 0.003);
  const auto f = analyse(s.capture, {});
  CHECK(f.suppression == SeenSuppression::zener);
  CHECK(f.clamp_V.value == doctest::Approx(33.6).epsilon(0.01));  // 33 V and the diode
  CHECK_FALSE(f.current_limited);
}

TEST_CASE("5 ohm proportional coil: a slow plunger makes no dip, and none is claimed") {
  const auto s = simulate("proportional_5ohm", 0.4, 61e-3, 10);
  for (const auto coil_class : {PlungerAction::on_off, PlungerAction::variable}) {
    AnalysisOptions options;
    options.coil_class = coil_class;
    for (std::uint32_t seed = 1; seed <= 10; ++seed) {
      const auto f = analyse(digitise(s.capture, 0.003, 14, seed), options);
      REQUIRE(f.status == Status::ok);
      CHECK(f.resistance_ohm.value == doctest::Approx(5.0).epsilon(0.01));
      CHECK(f.inductance_H.value == doctest::Approx(24e-6 / 2.0002e-3 + 0.5e-3).epsilon(0.03));
      CHECK(f.plunger == Plunger::not_judged);
      CHECK_FALSE(f.pull_in);
      CHECK(f.inductance_growth.value > 1.15);  // 1.25 of the iron, leakage does not grow
    }
  }
}

TEST_CASE("13 ohm coil whose plunger is jammed in its seat") {
  const auto s = simulate("stuck_seated_13ohm", 0.6, 61e-3, 5);
  CHECK(std::isnan(s.seat_s));
  for (std::uint32_t seed = 1; seed <= 10; ++seed) {
    const auto f = analyse(digitise(s.capture, 0.003, 14, seed), {});
    REQUIRE(f.status == Status::ok);
    CHECK(f.plunger == Plunger::no_motion_seen);
    CHECK_FALSE(f.pull_in);
    CHECK(f.inductance_H.value > 55e-3);  // 33 mH with the plunger at rest, open
  }
}
