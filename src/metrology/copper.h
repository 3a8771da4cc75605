// Copper's resistance against temperature, IEC 60028: R(t) proportional to 234.5 + t.
#pragma once

#include "quantity/quantity.h"

namespace pinproof::metrology {

/// Inferred absolute zero of copper's resistance, °C below nought (IEC 60028).
inline constexpr double kCopperInferredZero = 234.5;

/// R(celsius) / R(reference).
double copper_ratio(double celsius, double reference_celsius);

/// Resistance at `reference_celsius` of a copper winding that reads `ohm` at
/// `celsius`; both uncertainties propagated (independent).
Estimate at_reference(const Estimate& ohm, const Estimate& celsius, double reference_celsius);

}  // namespace pinproof::metrology
