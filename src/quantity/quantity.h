// Electrical quantities, one C++ type each, always held in the unprefixed SI
// unit. Prefixes (mA, kΩ) exist only where text is read or written.
#pragma once

#include <cmath>
#include <compare>
#include <limits>

namespace pinproof {

template <class Kind>
class Quantity {
 public:
  constexpr Quantity() = default;
  constexpr explicit Quantity(double si) : si_(si) {}
  constexpr double si() const { return si_; }
  friend constexpr auto operator<=>(Quantity, Quantity) = default;

 private:
  double si_ = 0.0;
};

using Voltage = Quantity<struct VoltageKind>;        // V
using Current = Quantity<struct CurrentKind>;        // A
using Resistance = Quantity<struct ResistanceKind>;  // Ω
using Duration = Quantity<struct DurationKind>;      // s
using Pressure = Quantity<struct PressureKind>;      // Pa

/// Units of a stored figure. Temperatures are kept in °C, since that is what
/// profiles, thermometers and people write; all else is the plain SI unit.
enum class Unit {
  none,
  ohm,
  volt,
  ampere,
  henry,
  second,
  celsius,
  pascal,
  weber,
  percent,
  watt,
  joule
};

/// A value with its standard uncertainty (k = 1), in the unit its owner states.
struct Estimate {
  double value = std::numeric_limits<double>::quiet_NaN();
  double u = std::numeric_limits<double>::quiet_NaN();

  /// Both are finite numbers and u is not negative: fit to be judged.
  bool usable() const { return std::isfinite(value) && std::isfinite(u) && u >= 0; }
};

/// A closed interval in a unit its owner states. Either end may be infinite.
struct Interval {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();

  double middle() const { return (low + high) / 2; }
  double width() const { return high - low; }
};

}  // namespace pinproof
