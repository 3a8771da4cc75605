#include <doctest/doctest.h>

#include <cmath>

#include "profile/profile.h"

using namespace pinproof::profile;

// Source: resistance table "10K-CP" of a published thermistor curve, as read in
// a public gist; fitted by least squares to three coefficients, whose largest
// error over the table is 12.8 mK.
TEST_CASE("Steinhart-Hart follows a published table") {
  Thermistor t;
  t.steinhart_hart = Thermistor::CurveCoefficients{0.001129240356821143, 0.000234157605363019,
                                                   8.726806158646756e-8};
  const double rows[][2] = {{-40, 336450}, {-20, 97072}, {0, 32650}, {10, 19889}, {25, 10000}};
  for (const auto& [celsius, ohm] : rows) {
    const auto back = thermistor_celsius(t, ohm);
    REQUIRE(back);
    CHECK(std::abs(*back - celsius) < 0.013);
    const auto forth = thermistor_ohm(t, *back);
    REQUIRE(forth);
    CHECK(std::abs(*forth / ohm - 1) < 1e-12);
  }
}

TEST_CASE("a table is met at its points, between them, and not far outside") {
  Thermistor t;
  t.table = {{0, 5880}, {20, 2510}, {40, 1110}};
  for (const auto& point : t.table) {
    CHECK(*thermistor_ohm(t, point.celsius) == doctest::Approx(point.ohm).epsilon(1e-12));
    CHECK(*thermistor_celsius(t, point.ohm) == doctest::Approx(point.celsius).epsilon(1e-9));
  }
  const double between = *thermistor_ohm(t, 30);
  CHECK(between < 2510);
  CHECK(between > 1110);
  CHECK(*thermistor_celsius(t, between) == doctest::Approx(30).epsilon(1e-9));
  CHECK_FALSE(thermistor_celsius(t, 100));
  CHECK_FALSE(thermistor_ohm(t, 61));
  CHECK_FALSE(thermistor_celsius(t, 0));
  CHECK_FALSE(thermistor_celsius(t, NAN));
}
