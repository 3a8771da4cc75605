// Dimensions of products and quotients, and what must not compile.
#include "quantity/quantity.h"

#include <doctest/doctest.h>

#include <cmath>
#include <type_traits>

using namespace pinproof;

namespace {

template <class A, class B>
concept Adds = requires(A a, B b) {
  a + b;
};
template <class A, class B>
concept Subtracts = requires(A a, B b) {
  a - b;
};
template <class A, class B>
concept Compares = requires(A a, B b) {
  a < b;
};
template <class A, class B>
concept Equals = requires(A a, B b) {
  a == b;
};
template <class A, class B>
concept Assigns = requires(A a, B b) {
  a = b;
};
template <class A, class B>
concept AddsTo = requires(A a, B b) {
  a += b;
};
template <class A, class B>
concept Multiplies = requires(A a, B b) {
  a* b;
};

template <class Wanted, class Found>
constexpr bool kIs = std::is_same_v<Wanted, Found>;

constexpr Voltage kVolt{12};
constexpr Current kAmpere{2};
constexpr Resistance kOhm{6};
constexpr Duration kSecond{3};
constexpr Inductance kHenry{0.5};
constexpr Temperature kRoom = Temperature::celsius(20);

// The definitions of the derived units (SI brochure, 9th edition, table 4).
static_assert(kIs<decltype(kVolt / kOhm), Current>);
static_assert(kIs<decltype(kVolt / kAmpere), Resistance>);
static_assert(kIs<decltype(kOhm * kAmpere), Voltage>);
static_assert(kIs<decltype(kAmpere / kVolt), Conductance>);
static_assert(kIs<decltype(1 / kOhm), Conductance>);
static_assert(kIs<decltype(kVolt * kSecond), FluxLinkage>);
static_assert(kIs<decltype(kVolt * kSecond / kAmpere), Inductance>);
static_assert(kIs<decltype(kHenry * kAmpere), FluxLinkage>);
static_assert(kIs<decltype(kHenry / kOhm), Duration>);
static_assert(kIs<decltype(kVolt * kAmpere), Power>);
static_assert(kIs<decltype(kVolt * kAmpere * kSecond), Energy>);
static_assert(kIs<decltype(kHenry * kAmpere * kAmpere), Energy>);
static_assert(kIs<decltype(1 / kSecond), Frequency>);
static_assert(kIs<decltype(kVolt / kVolt), double>);
static_assert(kIs<decltype(kOhm * (1 / kOhm)), double>);
static_assert(kIs<decltype(kRoom - kRoom), TemperatureDifference>);
static_assert(kIs<decltype(kRoom + (kRoom - kRoom)), Temperature>);
static_assert(kIs<decltype(2 * kVolt), Voltage> && kIs<decltype(kVolt / 2), Voltage>);
static_assert(kIs<decltype(kVolt - kVolt), Voltage> && kIs<decltype(-kVolt), Voltage>);

// What has another dimension neither adds up nor compares, and no number passes for a quantity.
static_assert(!Adds<Voltage, Current> && !Subtracts<Voltage, Current>);
static_assert(!Adds<Voltage, double> && !Adds<double, Voltage> && !Subtracts<Resistance, double>);
static_assert(!Compares<Voltage, Resistance> && !Compares<Voltage, double>);
static_assert(!Equals<Voltage, Resistance> && !Equals<Voltage, double>);
static_assert(!Assigns<Voltage, double> && !Assigns<double, Voltage> && !Assigns<Voltage, Current>);
static_assert(!AddsTo<Voltage, Current> && !AddsTo<Voltage, double> && !AddsTo<double, Voltage>);
static_assert(!std::is_convertible_v<double, Voltage> && !std::is_convertible_v<Voltage, double>);
static_assert(!std::is_constructible_v<Voltage, Current>);
static_assert(Adds<Voltage, Voltage> && Compares<Voltage, Voltage> && AddsTo<Voltage, Voltage>);

// A temperature is a point: neither a difference nor something that can be doubled.
static_assert(!Adds<Temperature, Temperature> && !Multiplies<Temperature, double> &&
              !Adds<TemperatureDifference, Temperature> && !Adds<Temperature, double> &&
              !Compares<Temperature, TemperatureDifference> &&
              !std::is_constructible_v<Temperature, double>);

}  // namespace

TEST_CASE("products and quotients have the value and the dimension of physics") {
  CHECK((kVolt / kOhm).si() == 2);
  CHECK((kVolt / kAmpere) == kOhm);
  CHECK((kHenry / Resistance{10}).si() == doctest::Approx(0.05));
  CHECK(kVolt / Voltage{4} == 3.0);
  CHECK((kRoom - Temperature::celsius(-5)).si() == 25);
  CHECK((kRoom - TemperatureDifference{5}).celsius() == 15);
  CHECK(kRoom.kelvin() == doctest::Approx(293.15));
}

TEST_CASE("sums and scalars keep the dimension") {
  Voltage v = kVolt + Voltage{1} - Voltage{3};
  CHECK(v.si() == 10);
  v += Voltage{2}, v *= 3, v -= Voltage{6}, v /= 2;
  CHECK(v.si() == 15);
  CHECK(v > kVolt);
  CHECK(abs(-v) == v);
  CHECK(2 * kVolt == kVolt * 2.0);
}

TEST_CASE("what is no number compares with nothing") {
  const Resistance none{std::nan("")};
  CHECK_FALSE(none < kOhm);
  CHECK_FALSE(none >= kOhm);
  CHECK_FALSE(none == none);
  CHECK(isnan(none));
  CHECK_FALSE(isfinite(Resistance{INFINITY}));
  CHECK(isfinite(kOhm));
}
