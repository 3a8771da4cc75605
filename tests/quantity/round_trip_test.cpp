// Numbers and SI text there and back, over thirty decades and every unit. Fixed seeds.
#include <doctest/doctest.h>

#include <array>
#include <clocale>
#include <cmath>
#include <cstdio>
#include <locale>
#include <random>
#include <string>

#include "quantity/text.h"

using namespace pinproof;

namespace {

constexpr std::array kUnits{Unit::none,  Unit::ohm,     Unit::volt,    Unit::ampere,
                            Unit::henry, Unit::second,  Unit::celsius, Unit::pascal,
                            Unit::weber, Unit::percent, Unit::watt,    Unit::joule};

double drawn(std::mt19937_64& random) {
  std::uniform_real_distribution<double> power(-15, 15);
  return (random() % 2 == 0 ? 1 : -1) * std::pow(10.0, power(random));
}

bool has_prefix(Unit unit) {
  return unit != Unit::none && unit != Unit::celsius && unit != Unit::percent;
}

// The last digit that is shown is worth so much; text of more digits than that is padded with none.
double half_digit(double value, int digits) {
  const double decade = std::floor(std::log10(std::abs(value)));
  return 0.5 * std::pow(10.0, decade - digits + 1);
}

// A comma as decimal sign and a point between thousands, whatever locales the machine has.
struct Comma final : std::numpunct<char> {
  char do_decimal_point() const override { return ','; }
  char do_thousands_sep() const override { return '.'; }
  std::string do_grouping() const override { return "\3"; }
};

}  // namespace

TEST_CASE("SI text reads back within half of its last digit") {
  std::mt19937_64 random(41);
  for (const Unit unit : kUnits)
    for (int k = 0; k < 10000; ++k) {
      const double value = drawn(random);
      const int digits = 2 + k % 8;
      const std::string text = format_si(value, unit, digits);
      INFO(text, " of ", value);
      const auto read = parse_si(text, unit);
      REQUIRE(read);
      // Whole numbers keep their digits before the point; the rest of the slack is for binary.
      CHECK(std::abs(*read - value) <=
            half_digit(value, digits) * (1 + 1e-6) + 1e-14 * std::abs(value));
    }
}

TEST_CASE("SI text stays short where its unit takes a prefix") {
  std::mt19937_64 random(42);
  for (const Unit unit : kUnits) {
    if (!has_prefix(unit)) continue;
    for (int k = 0; k < 2000; ++k) {
      const double value = drawn(random);
      if (std::abs(value) < 1e-12 || std::abs(value) >= 0.999e15) continue;
      const std::string text = format_si(value, unit, 4);
      INFO(text);
      CHECK(text.find(' ') <= 6);  // sign, four digits, point
    }
  }
}

TEST_CASE("an estimate's value reads back within its shown uncertainty") {
  std::mt19937_64 random(43);
  for (int k = 0; k < 10000; ++k) {
    const Unit unit = kUnits[static_cast<std::size_t>(k) % kUnits.size()];
    std::uniform_real_distribution<double> power(-9, 9), part(-5, -1);
    const double value = std::pow(10.0, power(random));
    const double u = value * std::pow(10.0, part(random));
    const std::string text = format_estimate({value, u}, unit);
    INFO(text, " of ", value, " and ", u);
    const auto mark = text.find(" ± ");
    REQUIRE(mark != std::string::npos);
    const std::string after = text.substr(mark + std::string(" ± ").size());
    const auto end = after.find_first_not_of("0123456789.");
    const std::string sign = end == std::string::npos ? "" : after.substr(end);
    const auto read = parse_si(text.substr(0, mark) + sign, unit);
    const auto shown = parse_si(after, unit);
    REQUIRE(read);
    REQUIRE(shown);
    CHECK(std::abs(*read - value) <= *shown / 10);
    CHECK(*shown >= 2 * u * (1 - 1e-9));
    CHECK(*shown <= 2 * u * 1.11);
  }
}

TEST_CASE("exact text reads back to the bit, with a plus sign too, and only whole") {
  std::mt19937_64 random(44);
  for (int k = 0; k < 10000; ++k) {
    const double value = drawn(random);
    const std::string text = exact(value);
    INFO(text);
    CHECK(parse_number(text) == value);
    if (value > 0) CHECK(parse_number("+" + text) == value);
    if (value < 0) CHECK_FALSE(parse_number("+" + text));
    for (const char* more : {" ", ",", "x", "e", ".", "\n", "\t", "%", "+", "-"}) {
      // "123." is a number in scientific notation too (NR2 of IEEE 488.2).
      if (*more != '.' || text.find('.') != std::string::npos)
        CHECK_FALSE(parse_number(text + more) == value);
      if (*more != '+') CHECK_FALSE(parse_number(more + text) == value);
    }
    CHECK_FALSE(parse_number(text + std::string(1, '\0')));
  }
}

TEST_CASE("what stands behind an SI value is never ignored") {
  std::mt19937_64 random(45);
  for (const Unit unit : kUnits)
    for (int k = 0; k < 500; ++k) {
      const std::string text = format_si(drawn(random), unit, 4);
      INFO(text);
      for (const char* more : {"x", " 2", " V A", "?", ";", ",5"})
        CHECK_FALSE(parse_si(text + more, unit));
      CHECK(parse_si(" " + text + "\t", unit));
      if (text.front() != '-') CHECK(parse_si("+" + text, unit));
      for (const Unit other : kUnits)
        if (other != unit && unit != Unit::none) CHECK_FALSE(parse_si(text, other));
    }
}

TEST_CASE("a second number is no unit of a plain number") {
  CHECK_FALSE(parse_si("6.1 1", Unit::none));  // "1" is the file's name of no unit
}

TEST_CASE("a locale with a comma changes nothing") {
  const std::locale before = std::locale::global(std::locale(std::locale::classic(), new Comma));
  const char* found = nullptr;  // of the C library, which std::locale above does not set
  for (const char* name : {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "fr_FR.utf8", "nl_NL.UTF-8"})
    if (!found && std::setlocale(LC_ALL, name)) found = name;
  std::printf("locale of the C library with a comma: %s\n", found ? found : "none on this machine");
  CHECK(format_si(1234.5, Unit::volt, 5) == "1.2345 kV");
  CHECK(format_si(1234567.0, Unit::none, 7) == "1234567");
  CHECK(exact(1234.5) == "1234.5");
  CHECK(parse_number("1234.5") == 1234.5);
  CHECK_FALSE(parse_number("1234,5"));
  CHECK_FALSE(parse_number("1.234,5"));
  CHECK_FALSE(parse_si("1,5 V", Unit::volt));
  CHECK(format_estimate({12.9834, 0.006}, Unit::ohm) == "12.983 ± 0.012 Ω");
  std::setlocale(LC_ALL, "C");
  std::locale::global(before);
}
