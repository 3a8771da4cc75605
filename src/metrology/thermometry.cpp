#include "metrology/thermometry.h"

#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <cstdint>
#include <numbers>

namespace pinproof::metrology {
namespace {

constexpr double kColdest = -200, kHottest = 850;  // degrees Celsius, of the standard's table

double ohm_of(double celsius, double ohm_at_0) {
  constexpr double A = 3.9083e-3, B = -5.775e-7, C = -4.183e-12;
  const double below = celsius < 0 ? C * (celsius - 100) * celsius * celsius * celsius : 0;
  return ohm_at_0 * (1 + A * celsius + B * celsius * celsius + below);
}

}  // namespace

std::optional<double> platinum_ohm(double celsius, double ohm_at_0) {
  if (!(celsius >= kColdest && celsius <= kHottest)) return std::nullopt;
  return ohm_of(celsius, ohm_at_0);
}

std::optional<double> platinum_celsius(double ohm, double ohm_at_0) {
  if (!(ohm >= ohm_of(kColdest, ohm_at_0) && ohm <= ohm_of(kHottest, ohm_at_0)))
    return std::nullopt;
  std::uintmax_t steps = 200;
  const auto off = [&](double celsius) { return ohm_of(celsius, ohm_at_0) - ohm; };
  const auto [low, high] = boost::math::tools::toms748_solve(
      off, kColdest, kHottest, boost::math::tools::eps_tolerance<double>(48), steps);
  return (low + high) / 2;
}

double steinhart_hart_celsius(const SteinhartHart& c, double ohm) {
  const double x = std::log(ohm);
  return 1 / (c.A + c.B * x + c.C * x * x * x) - 273.15;
}

// Divided differences of 1/T over ln R: the cubic term first, then downward.
SteinhartHart steinhart_hart_through(const std::array<std::array<double, 2>, 3>& points) {
  double x[3], y[3];
  for (std::size_t i = 0; i < 3; ++i)
    x[i] = std::log(points[i][1]), y[i] = 1 / (points[i][0] + 273.15);
  const double g2 = (y[1] - y[0]) / (x[1] - x[0]);
  const double g3 = (y[2] - y[0]) / (x[2] - x[0]);
  SteinhartHart out;
  out.C = (g3 - g2) / (x[2] - x[1]) / (x[0] + x[1] + x[2]);
  out.B = g2 - out.C * (x[0] * x[0] + x[0] * x[1] + x[1] * x[1]);
  out.A = y[0] - (out.B + x[0] * x[0] * out.C) * x[0];
  return out;
}

double awg_ohm_per_1000_ft(int gauge) {
  constexpr double kResistivity = 0.15328e-6 / 8.89;  // ohm metre
  const double diameter_m = 0.005 * 0.0254 * std::pow(92.0, (36.0 - gauge) / 39.0);
  return kResistivity * 304.8 / (std::numbers::pi / 4 * diameter_m * diameter_m);
}

}  // namespace pinproof::metrology
