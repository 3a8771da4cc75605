// The simulated pack against what can be worked out by hand.
#include <doctest/doctest.h>

#include <cmath>

#include "paths.h"
#include "profile/load.h"
#include "simulated/coil_dynamics.h"
#include "simulated/network.h"

using namespace pinproof;
using namespace pinproof::simulated;

TEST_CASE("nodal solution of a divider and of a bridge") {
  const Network divider({{"a", "b", 1 / 10.0}, {"b", "c", 1 / 30.0}});
  const auto v = divider.solve({{"a", "c", 0.5}});
  CHECK(v.at("a") - v.at("c") == doctest::Approx(20).epsilon(1e-8));
  CHECK(v.at("b") - v.at("c") == doctest::Approx(15).epsilon(1e-8));
  // Wheatstone bridge 100/200 over 300/400 with 500 across, by the delta-star
  // formula: 100 300 / 900 = 33.33, 100 500 / 900 = 55.56, 300 500 / 900 = 166.67;
  // 33.33 + (55.56 + 200) || (166.67 + 400) = 33.333 + 176.127 = 209.459 ohm.
  const Network bridge({{"top", "left", 1 / 100.0},
                        {"left", "foot", 1 / 200.0},
                        {"top", "right", 1 / 300.0},
                        {"right", "foot", 1 / 400.0},
                        {"left", "right", 1 / 500.0}});
  const auto w = bridge.solve({{"top", "foot", 1.0}});
  CHECK(w.at("top") - w.at("foot") == doctest::Approx(209.4595).epsilon(1e-6));
}

// Source: circuit theory: i = I (1 - a exp(-t/tau)), a = Re/(R + Re),
// tau = L (1/R + 1/Re); leakage made small, no saturation, plunger held.
TEST_CASE("a coil with an eddy path follows its closed form") {
  TrueCoil coil;
  coil.ohm20 = 13, coil.eddy_ohm = 80, coil.leakage_H = 40e-6;
  coil.gap_m = 0.6e-3, coil.stroke_m = 0.5e-3, coil.k = 32e-3 * 1.1e-3;
  coil.sat_A = 0, coil.sat_Vs = 1, coil.jam = Jam::open;
  coil.mass_kg = 6e-3, coil.preload_N = 3, coil.spring_N_m = 2000, coil.damping_Ns_m = 0.6;
  CoilDynamics dynamics(coil, 1.0);
  const double a = 80.0 / 93, tau = 32e-3 * (1 / 13.0 + 1 / 80.0), final_A = 13.0 / 13;
  double t = 0;
  for (int n = 0; n < 60000; ++n) {
    dynamics.step(13.0, 2e-7, true);
    t += 2e-7;
    if (n % 6000 == 5999)
      CHECK(std::abs(dynamics.current() - final_A * (1 - a * std::exp(-t / tau))) < 2e-3);
  }
  // Heat in the copper is the integral of R i^2, by the same closed form.
  double heat = 0;
  for (int n = 0; n < 12000; ++n)
    heat += 13 * std::pow(final_A * (1 - a * std::exp(-(n + 0.5) * 1e-6 / tau)), 2) * 1e-6;
  CHECK(dynamics.heat_J() == doctest::Approx(heat).epsilon(0.005));
}

TEST_CASE("copper, faults and switches change what conducts") {
  const auto profile =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json");
  const auto ohms = [](Pack& pack, const std::string& from, const std::string& to) {
    const Network network(pack.branches());
    const auto v = network.solve({{from, to, 1e-3}});
    return (v.at(from) - v.at(to)) / 1e-3;
  };
  Pack good(profile, 1, {});
  const double cold = ohms(good, "1", "2");
  CHECK(cold > 12.4);
  CHECK(cold < 14);
  good.heat(good.coils().front(), 12 * 50);  // 50 K by its heat capacity
  CHECK(ohms(good, "1", "2") / cold == doctest::Approx((234.5 + 73) / (234.5 + 23)).epsilon(0.002));
  CHECK(ohms(good, "9", "case") > 1e8);
  good.press({{"E1", 650e3}});
  CHECK(ohms(good, "9", "case") < 5);
  good.press({});
  CHECK(ohms(good, "9", "case") > 1e8);
  good.move_lever(2);
  CHECK(ohms(good, "17", "case") > 1e8);  // N: 10111, line 5 open
  CHECK(ohms(good, "14", "case") < 2);    // line 2 closed
  Pack leak(profile, 1, {parse_fault(profile, "coil A: case-leak 100 kohm")});
  CHECK(ohms(leak, "1", "case") == doctest::Approx(100e3).epsilon(0.01));
}
