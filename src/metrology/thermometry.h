// Platinum and thermistor thermometers, and copper wire by gauge.
#pragma once

#include <array>
#include <optional>
#include <span>

namespace pinproof::metrology {

/// Resistance of a platinum thermometer, IEC 60751 (A 3.9083e-3, B -5.775e-7,
/// C -4.183e-12 below 0 °C). -200 to 850 °C; nullopt outside.
std::optional<double> platinum_ohm(double celsius, double ohm_at_0 = 100);
std::optional<double> platinum_celsius(double ohm, double ohm_at_0 = 100);

/// 1/T = A + B ln R + C (ln R)^3, T in K (Steinhart and Hart 1968).
struct SteinhartHart {
  double A = 0, B = 0, C = 0;
};
double steinhart_hart_celsius(const SteinhartHart& c, double ohm);
/// Through three points {celsius, ohm}; solved exactly.
SteinhartHart steinhart_hart_through(const std::array<std::array<double, 2>, 3>& points);

/// Bare copper wire of an American wire gauge at 20 °C: diameter 0.005 in *
/// 92^((36 - n)/39), resistivity 0.15328 / 8.89 micro-ohm metre (the annealed
/// copper standard of NBS Handbook 100). Ohm a 1000 ft; gauge 0 to 50.
double awg_ohm_per_1000_ft(int gauge);

}  // namespace pinproof::metrology
