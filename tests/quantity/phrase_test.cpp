// Bare numbers, shares, counts and lists, and text in web addresses.
#include "quantity/phrase.h"

#include <doctest/doctest.h>

#include <bit>
#include <cmath>
#include <cstdio>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "quantity/url.h"

using namespace pinproof;

TEST_CASE("numbers without a unit are those of printf") {
  std::mt19937_64 random(3);
  char text[500];
  for (int k = 0; k < 20000; ++k) {
    const double value = std::bit_cast<double>(random());
    const int digits = static_cast<int>(random() % 7);
    if (!std::isfinite(value)) continue;
    std::snprintf(text, sizeof text, "%.*f", digits, value);
    REQUIRE(fixed(value, digits) == text);
    std::snprintf(text, sizeof text, "%.*g", digits, value);
    REQUIRE(significant(value, digits) == text);
  }
  CHECK(fixed(2.5, 0) == "2");  // halves to the even digit
  CHECK(fixed(-0.04, 1) == "-0.0");
  CHECK(fixed(7, -3) == "7");
  CHECK(fixed(INFINITY, 1) == "inf");
  CHECK(significant(100.0, 4) == "100");
  CHECK(significant(1234567, 4) == "1.235e+06");
}

TEST_CASE("shares in percent") {
  CHECK(percent(0.1234, 1) == "12.3 %");
  CHECK(percent(1, 0) == "100 %");
  CHECK(percent(0.00049, 2) == "0.05 %");
}

TEST_CASE("counts agree with their noun") {
  CHECK(counted(0, "pack") == "0 packs");
  CHECK(counted(1, "pack") == "1 pack");
  CHECK(counted(2, "pack") == "2 packs");
  CHECK(counted(1, "was", "were") == "1 was");
  CHECK(counted(3, "was", "were") == "3 were");
}

TEST_CASE("lists of words") {
  CHECK(joined(std::vector<std::string>{}) == "");
  CHECK(joined(std::vector<std::string>{"a"}) == "a");
  CHECK(joined(std::vector<std::string>{"a", "b", "c"}) == "a, b, c");
  CHECK(joined(std::set<std::string_view>{"b", "a"}, "; ") == "a; b");
}

// RFC 3986, 2.1 and 2.3.
TEST_CASE("text in an address: all but unreserved characters escaped") {
  std::string stays;
  for (int c = 0; c < 256; ++c) {
    const std::string one(1, static_cast<char>(c));
    const std::string escaped = url_escaped(one);
    if (escaped == one) {
      stays += one;
      continue;
    }
    REQUIRE(escaped.size() == 3);
    REQUIRE(escaped[0] == '%');
    REQUIRE(std::stoi(escaped.substr(1), nullptr, 16) == c);
  }
  CHECK(stays == "-.0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz~");
  CHECK(url_escaped("\u00e9 /") == "%C3%A9%20%2F");
}
