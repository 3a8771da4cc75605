// When a reading under hand-held probes counts, and what sigrok-cli's lines mean.
#include "hand/settling.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "quantity/error.h"
#include "sigrok/handheld.h"

using namespace pinproof;
using hand::Settling;

TEST_CASE("a reading settles when it stays, not before") {
  Settling s(0.5);
  for (int i = 0; i < 5; ++i) {
    s.add(0.1 * i, 13.0, 100);
    CHECK_FALSE(s.settled());
  }
  s.add(0.5, 13.01, 100);
  CHECK(s.settled());
  CHECK(s.mean() == doctest::Approx(13.0).epsilon(0.001));
  s.add(0.6, 13.4, 100);  // the probe slid
  CHECK_FALSE(s.settled());
  s.clear();
  CHECK(s.samples().empty());
}

TEST_CASE("sliding probes and a charging coil never settle") {
  std::mt19937_64 random(5);
  std::uniform_real_distribution<double> slide(0.9, 1.1);
  Settling sliding(0.3), charging(0.3);
  for (int i = 0; i < 200; ++i) {
    sliding.add(0.02 * i, 13.0 * slide(random), 100);
    CHECK_FALSE(sliding.settled());
    if (i < 50) {  // 13 ohm and the tail of a slow approach: 1 % a sample
      charging.add(0.02 * i, 13.0 * std::pow(1.01, i), 100);
      CHECK_FALSE(charging.settled());
    }
  }
}

TEST_CASE("hum does not settle by chance under a slow meter") {
  std::mt19937_64 random(6);
  std::normal_distribution<double> hum(13, 1);
  Settling s(0.5);
  for (int i = 0; i < 10000; ++i) {
    s.add(0.25 * i, hum(random), 100);
    CHECK_FALSE(s.settled());
  }
}

TEST_CASE("what a pair should show") {
  CHECK(hand::plausible(13, 13));
  CHECK(hand::plausible(11.5, 13));
  CHECK_FALSE(hand::plausible(0.3, 13));
  CHECK_FALSE(hand::plausible(1e6, 13));        // fingers
  CHECK(hand::plausible(0.05, 5));              // a contact better than its limit
  CHECK_FALSE(hand::plausible(2e6, INFINITY));  // an open needs a key, and so does a leak
}

TEST_CASE("lines of sigrok-cli, strictly") {
  const auto value = [](const char* line) { return sigrok::parse_line(line)->value; };
  CHECK(value("P1: 5.08210 \u2126 4-WIRE") == 5.0821);
  CHECK(value("P1: 5.0821 k\u03a9 AUTO") == doctest::Approx(5082.1));
  CHECK(value("P1: -12.5 mV DC") == doctest::Approx(-0.0125));
  CHECK(sigrok::parse_line("P1: inf M\u2126")->overload);
  CHECK(sigrok::parse_line("P1: 5.0 \u2126 4-WIRE")->four_wire);
  CHECK(sigrok::parse_line("P1: 5.0 \u2126 HOLD")->frozen == "HOLD");
  CHECK(sigrok::parse_line("P1: 5.0 \u2126 REL")->frozen == "REL");
  CHECK_FALSE(sigrok::parse_line("FRAME-BEGIN"));
  for (const char* line :
       {"", "P1", "P1:5.0 \u2126", "P1: \u2126", "P1: 5,0 \u2126", "P1: 5.0", "P1: 5.0 furlong",
        "P1: nan \u2126", "P1: 5.0x \u2126", "No devices found."})
    CHECK_THROWS_AS((void)sigrok::parse_line(line), Error);
}
