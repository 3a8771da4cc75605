// Physical quantities, one C++ type for each dimension, always held in the unprefixed SI unit.
// Prefixes (mA, kΩ) exist only where text is read or written. Products and quotients have the
// dimension that physics gives them: volt over ampere is ohm, and anything else does not compile.
#pragma once

#include <cmath>
#include <compare>
#include <limits>
#include <type_traits>

namespace pinproof {

/// Exponents of the SI base units (SI brochure, 9th edition, 2.3.1).
template <int Metre, int Kilogram, int Second, int Ampere, int Kelvin>
struct Dimension {
  static constexpr int metre = Metre, kilogram = Kilogram, second = Second, ampere = Ampere,
                       kelvin = Kelvin;
};

namespace detail {

template <class A, class B, int Sign>  // +1: product, -1: quotient
using CombinedDimension = Dimension<A::metre + Sign * B::metre, A::kilogram + Sign * B::kilogram,
                                    A::second + Sign * B::second, A::ampere + Sign * B::ampere,
                                    A::kelvin + Sign * B::kelvin>;
using Pure = Dimension<0, 0, 0, 0, 0>;

}  // namespace detail

template <class D>
class Quantity {
 public:
  constexpr Quantity() = default;
  constexpr explicit Quantity(double si) : si_(si) {}
  constexpr double si() const { return si_; }

  friend constexpr auto operator<=>(Quantity, Quantity) = default;

  constexpr Quantity operator-() const { return Quantity(-si_); }
  friend constexpr Quantity operator+(Quantity a, Quantity b) { return Quantity(a.si_ + b.si_); }
  friend constexpr Quantity operator-(Quantity a, Quantity b) { return Quantity(a.si_ - b.si_); }
  friend constexpr Quantity operator*(Quantity a, double b) { return Quantity(a.si_ * b); }
  friend constexpr Quantity operator*(double a, Quantity b) { return Quantity(a * b.si_); }
  friend constexpr Quantity operator/(Quantity a, double b) { return Quantity(a.si_ / b); }
  constexpr Quantity& operator+=(Quantity b) { return *this = *this + b; }
  constexpr Quantity& operator-=(Quantity b) { return *this = *this - b; }
  constexpr Quantity& operator*=(double b) { return *this = *this * b; }
  constexpr Quantity& operator/=(double b) { return *this = *this / b; }

 private:
  double si_ = 0.0;
};

namespace detail {

// Where all units cancel, what is left is a number.
template <class D>
constexpr auto of_dimension(double si) {
  if constexpr (std::is_same_v<D, Pure>)
    return si;
  else
    return Quantity<D>(si);
}

}  // namespace detail

template <class A, class B>
constexpr auto operator*(Quantity<A> a, Quantity<B> b) {
  return detail::of_dimension<detail::CombinedDimension<A, B, 1>>(a.si() * b.si());
}
template <class A, class B>
constexpr auto operator/(Quantity<A> a, Quantity<B> b) {
  return detail::of_dimension<detail::CombinedDimension<A, B, -1>>(a.si() / b.si());
}
template <class B>
constexpr auto operator/(double a, Quantity<B> b) {
  return detail::of_dimension<detail::CombinedDimension<detail::Pure, B, -1>>(a / b.si());
}

template <class D>
Quantity<D> abs(Quantity<D> a) {
  return Quantity<D>(std::abs(a.si()));
}
template <class D>
bool isfinite(Quantity<D> a) {
  return std::isfinite(a.si());
}
template <class D>
bool isnan(Quantity<D> a) {
  return std::isnan(a.si());
}

using Duration = Quantity<Dimension<0, 0, 1, 0, 0>>;               // s
using Frequency = Quantity<Dimension<0, 0, -1, 0, 0>>;             // Hz
using Current = Quantity<Dimension<0, 0, 0, 1, 0>>;                // A
using Voltage = Quantity<Dimension<2, 1, -3, -1, 0>>;              // V
using Resistance = Quantity<Dimension<2, 1, -3, -2, 0>>;           // Ω
using Conductance = Quantity<Dimension<-2, -1, 3, 2, 0>>;          // S
using Inductance = Quantity<Dimension<2, 1, -2, -2, 0>>;           // H
using FluxLinkage = Quantity<Dimension<2, 1, -2, -1, 0>>;          // Wb = V s
using Power = Quantity<Dimension<2, 1, -3, 0, 0>>;                 // W
using Energy = Quantity<Dimension<2, 1, -2, 0, 0>>;                // J
using Pressure = Quantity<Dimension<-1, 1, -2, 0, 0>>;             // Pa
using TemperatureDifference = Quantity<Dimension<0, 0, 0, 0, 1>>;  // K

/// A temperature, not a difference of two: the sum of two has no meaning and does not compile.
class Temperature {
 public:
  static constexpr double kZeroCelsius_K = 273.15;

  constexpr Temperature() = default;
  static constexpr Temperature celsius(double value) { return Temperature(value); }
  constexpr double celsius() const { return celsius_; }
  constexpr double kelvin() const { return celsius_ + kZeroCelsius_K; }

  friend constexpr auto operator<=>(Temperature, Temperature) = default;
  friend constexpr TemperatureDifference operator-(Temperature a, Temperature b) {
    return TemperatureDifference(a.celsius_ - b.celsius_);
  }
  friend constexpr Temperature operator+(Temperature a, TemperatureDifference b) {
    return Temperature(a.celsius_ + b.si());
  }
  friend constexpr Temperature operator-(Temperature a, TemperatureDifference b) {
    return Temperature(a.celsius_ - b.si());
  }

 private:
  constexpr explicit Temperature(double celsius) : celsius_(celsius) {}
  double celsius_ = 0;
};

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
