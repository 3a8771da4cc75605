// A duty sweep with hysteresis and dither, simulated by Debian's ngspice
// (tests/data/netlists/duty_5ohm.cir): 5 ohm, 300 Hz, 10 to 70 % and back, then
// 40 % swinging by 2 % at 40 Hz.
#include "paths.h"
#include "waveform/duty.h"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <sstream>

#include "waveform/bench_coil.h"
#include "waveform/files.h"

using namespace pinproof::waveform;

namespace {

Capture simulated() {
  std::string dir = (std::filesystem::temp_directory_path() / "duty-XXXXXX").string();
  REQUIRE(mkdtemp(dir.data()) != nullptr);
  const std::string netlist = pinproof::tests::data_dir() + "/netlists/duty_5ohm.cir";
  const std::string command = "cd '" + dir + "' && ngspice -b '" + netlist + "' > log 2>&1";
  REQUIRE(std::system(command.c_str()) == 0);
  std::istringstream in(text_of_file(dir + "/states.txt"));
  std::filesystem::remove_all(dir);
  std::string header;
  std::getline(in, header);
  Capture out;
  double t = 0, amps = 0, volts = 0, flux = 0, y = 0, first = NAN, second = NAN;
  while (in >> t >> amps >> volts >> flux >> y) {
    (std::isnan(first) ? first : std::isnan(second) ? second : t) = t;
    out.current_A.push_back(amps), out.voltage_V.push_back(volts);
  }
  out.start_s = first, out.interval_s = second - first;
  return out;
}

}  // namespace

TEST_CASE("levels, resistance, hysteresis and dither of a duty sweep") {
  const Capture ideal = simulated();
  REQUIRE(looks_modulated(ideal));
  for (const double noise : {0.0, 0.005}) {
    CAPTURE(noise);
    const auto s = analyse_duty(noise > 0 ? digitise(ideal, noise, 12, 3) : ideal);
    REQUIRE(s.reason.empty());
    CHECK(s.frequency_Hz == doctest::Approx(300).epsilon(0.002));
    REQUIRE(s.levels.size() == 10);
    const double duties[] = {0.10, 0.25, 0.40, 0.55, 0.70, 0.55, 0.40, 0.25, 0.10, 0.40};
    for (std::size_t k = 0; k < 10; ++k) {
      CHECK(std::abs(s.levels[k].duty - duties[k]) < 0.01);
      CHECK(s.levels[k].rising == (k < 5 || k == 9));
      // Mean voltage over mean current is the winding's 5 ohm at any duty.
      if (duties[k] > 0.2)
        CHECK(s.levels[k].resistance_ohm.value == doctest::Approx(5).epsilon(0.02));
    }
    CHECK(s.resistance_ohm.value == doctest::Approx(5).epsilon(0.01));
    CHECK(s.both_ways.size() >= 4);
    CHECK(s.hysteresis_A < 0.01);  // the current follows the duty alone ...
    // ... but friction leaves the plunger elsewhere on the way back: the states
    // differ by a tenth of the stroke at 25 %, and so the ripple does.
    CHECK(s.ripple_hysteresis > 0.03);
    CHECK(s.dither_Hz == doctest::Approx(40).epsilon(0.05));
    CHECK(s.dither_A == doctest::Approx(0.04).epsilon(0.25));
    CHECK(s.least_slope == doctest::Approx(1).epsilon(0.1));
  }
}

TEST_CASE("what is no duty sweep is said to be none") {
  const Capture pulse = run(BenchCoil{}, {}).capture;
  CHECK_FALSE(looks_modulated(pulse));
  CHECK_FALSE(analyse_duty(pulse).reason.empty());
  CHECK(analyse_duty(pulse).levels.empty());
  Capture no_volts = pulse;
  no_volts.voltage_V.clear();
  CHECK_FALSE(analyse_duty(no_volts).reason.empty());
  Capture coarse{0, 1e-3, {}, {}};
  for (int k = 0; k < 400; ++k) {
    coarse.voltage_V.push_back(k % 4 < 2 ? 12.0 : 0.0);
    coarse.current_A.push_back(1);
  }
  CHECK_FALSE(analyse_duty(coarse).reason.empty());
}
