#include <doctest/doctest.h>

#include <cmath>

#include "metrology/copper.h"
#include "metrology/thermometry.h"

using namespace pinproof::metrology;

// Source: IEC 60028 (constant from memory; the same in a safety standard's text).
TEST_CASE("copper's resistance against temperature") {
  const std::pair<double, double> rows[] = {{-40, .76424}, {0, .92141},    {25, 1.01965},
                                            {80, 1.23576}, {100, 1.31434}, {120, 1.39293},
                                            {150, 1.51081}};
  for (const auto& [celsius, ratio] : rows)
    CHECK(std::abs(copper_ratio(celsius, 20) - ratio) < 5.1e-6);
}

// Source: NBS Handbook 100 family of wire tables (two transcriptions), ohm a 1000 ft at 20 °C.
TEST_CASE("wire table") {
  const std::pair<int, double> rows[] = {{20, 10.15}, {22, 16.14}, {24, 25.67},
                                         {26, 40.81}, {28, 64.90}, {30, 103.2},
                                         {32, 164.1}, {36, 414.8}, {40, 1049}};
  for (const auto& [gauge, ohm] : rows)
    CHECK(awg_ohm_per_1000_ft(gauge) == doctest::Approx(ohm).epsilon(0.0004));
}

// Source: IEC 60751, computed from its coefficients to the printed digits.
TEST_CASE("platinum thermometer both ways") {
  const std::pair<double, double> rows[] = {
      {-200, 18.5201}, {-100, 60.2558}, {-40, 84.2707},  {0, 100},        {25, 109.7347},
      {50, 119.3971},  {100, 138.5055}, {150, 157.3251}, {200, 175.8560}, {850, 390.4811}};
  for (const auto& [celsius, ohm] : rows) {
    CHECK(std::abs(*platinum_ohm(celsius) - ohm) < 5.1e-5);
    CHECK(std::abs(*platinum_ohm(celsius, 1000) - 10 * ohm) < 5.1e-4);
    CHECK(std::abs(*platinum_celsius(*platinum_ohm(celsius)) - celsius) < 1e-9);
  }
  CHECK_FALSE(platinum_ohm(-201));
  CHECK_FALSE(platinum_celsius(1));
}

// Source: a public unit test of the coefficients (10 kohm at 25 °C), a published
// table of an instrument manual (its 40 °C row is a misprint and left out), and a
// README's worked example (7000 ohm: 307.9031 K).
TEST_CASE("Steinhart-Hart") {
  CHECK(std::abs(steinhart_hart_celsius({2.108508173e-3, 0.7979204727e-4, 6.535076315e-7}, 10000) -
                 25) < 1e-4);
  const auto manual = steinhart_hart_through({{{0, 32128}, {25, 9814}, {50, 3542}}});
  const std::pair<double, double> rows[] = {{0, 32128}, {10, 19549}, {20, 12262},
                                            {25, 9814}, {30, 7908},  {50, 3542}};
  for (const auto& [celsius, ohm] : rows)
    CHECK(std::abs(steinhart_hart_celsius(manual, ohm) - celsius) < 0.0025);
  const auto readme = steinhart_hart_through({{{-25, 87041}, {0, 27326}, {25, 10000}}});
  CHECK(readme.A == doctest::Approx(0.0008975539782833699).epsilon(1e-10));
  CHECK(std::abs(steinhart_hart_celsius(readme, 7000) + 273.15 - 307.9031) < 5e-5);
}
