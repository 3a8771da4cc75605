#include "quantity/text.h"

#include <doctest/doctest.h>

#include <bit>
#include <clocale>
#include <cmath>
#include <random>

using namespace pinproof;

TEST_CASE("numbers are read whole or not at all") {
  CHECK(parse_number("+5.21370000E+00") == 5.2137);
  CHECK(parse_number("-1e-3") == -0.001);
  CHECK(parse_number("13") == 13.0);
  for (const char* bad : {"", "+", "-", "++1", "+-1", "1 ", " 1", "1.2.3", "1,2", "nan", "inf",
                          "-inf", "NaN", "0x10", "1e", "1e999", "5 V"})
    CHECK_FALSE(parse_number(bad));
}

TEST_CASE("no locale of the machine changes a number") {
  const char* before = std::setlocale(LC_ALL, nullptr);
  for (const char* name : {"de_DE.UTF-8", "de_DE", "C.UTF-8"}) {
    if (!std::setlocale(LC_ALL, name)) continue;  // not every machine has every locale
    CHECK(parse_number("5.2137") == 5.2137);
    CHECK(exact(13.8) == "13.8");
    CHECK(format_si(13.8, Unit::volt, 3) == "13.8 V");
  }
  std::setlocale(LC_ALL, before);
}

TEST_CASE("SI text in") {
  CHECK(*parse_si("3.3 kΩ", Unit::ohm) == doctest::Approx(3300));
  CHECK(*parse_si("50kohm", Unit::ohm) == doctest::Approx(50000));
  CHECK(*parse_si("200 mohm", Unit::ohm) == doctest::Approx(0.2));
  CHECK(*parse_si("2 MΩ", Unit::ohm) == doctest::Approx(2e6));
  CHECK(*parse_si("5 ms", Unit::second) == doctest::Approx(0.005));
  CHECK(*parse_si("10%", Unit::percent) == 10);
  CHECK(*parse_si("1.5", Unit::ampere) == 1.5);
  CHECK(*parse_si("4k", Unit::ohm) == 4000);
  for (const char* bad : {"3 V", "3 kV", "k", "", "1 K ohm", "3 ohms"})
    CHECK_FALSE(parse_si(bad, Unit::ohm));
  CHECK_FALSE(parse_si("10 k%", Unit::percent));
}

TEST_CASE("SI text out") {
  CHECK(format_si(0.0326, Unit::henry, 3) == "32.6 mH");
  CHECK(format_si(12.98, Unit::ohm) == "12.98 Ω");
  CHECK(format_si(999.96, Unit::ohm) == "1.000 kΩ");
  CHECK(format_si(1e6, Unit::ohm, 3) == "1.00 MΩ");
  CHECK(format_si(0, Unit::volt, 3) == "0.00 V");
  CHECK(format_si(-0.5, Unit::volt, 2) == "-500 mV");
  CHECK(format_si(23.456, Unit::celsius, 4) == "23.46 °C");
  CHECK(format_si(NAN, Unit::ohm) == "no value Ω");
}

TEST_CASE("a shown uncertainty is never smaller than the true one") {
  CHECK(format_estimate({12.9834, 0.006}, Unit::ohm) == "12.983 ± 0.012 Ω");
  CHECK(format_estimate({0.0326, 0.00055}, Unit::henry) == "32.6 ± 1.1 mH");
  CHECK(format_estimate({5, 0.04975}, Unit::ohm) == "5.00 ± 0.10 Ω");
  std::mt19937_64 random(7);
  std::uniform_real_distribution<double> power(-9, 6);
  for (int i = 0; i < 2000; ++i) {
    const Estimate e{1.0, std::pow(10.0, power(random)) / 2};
    const std::string text = format_estimate(e, Unit::none);
    const auto shown = parse_number(text.substr(text.find("± ") + 3));
    REQUIRE(shown);
    CHECK(*shown >= 2 * e.u * (1 - 1e-9));
    CHECK(*shown <= 2 * e.u * 1.11 + 1);
  }
}

TEST_CASE("exact text reads back to the same double") {
  std::mt19937_64 random(11);
  for (int i = 0; i < 5000; ++i) {
    const double value = std::bit_cast<double>(random());
    if (!std::isfinite(value)) continue;
    CHECK(std::bit_cast<std::uint64_t>(*parse_number(exact(value))) ==
          std::bit_cast<std::uint64_t>(value));
  }
}

TEST_CASE("units by their names in files") {
  for (const Unit unit :
       {Unit::none, Unit::ohm, Unit::volt, Unit::ampere, Unit::henry, Unit::second, Unit::celsius,
        Unit::pascal, Unit::weber, Unit::percent, Unit::watt})
    CHECK(unit_from_file_name(file_name(unit)) == unit);
  CHECK_FALSE(unit_from_file_name("kohm"));
}
