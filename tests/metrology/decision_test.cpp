#include "metrology/decision.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

using namespace pinproof;
using namespace pinproof::metrology;

// Source: JCGM 106:2012, examples of clause 7 (settings from memory of the text):
// breakdown voltage, container pressure, oil viscosity.
TEST_CASE("conformance probability of the examples of JCGM 106") {
  CHECK(conformance_probability({-5.47, 0.05}, {-INFINITY, -5.40}) ==
        doctest::Approx(0.9192433407662289).epsilon(1e-12));
  CHECK(conformance_probability({509.7, 8.6}, {490, INFINITY}) ==
        doctest::Approx(0.9890095473848222).epsilon(1e-12));
  CHECK(conformance_probability({13.6, 1.8}, {12.5, 16.3}) ==
        doctest::Approx(0.6626297864953077).epsilon(1e-12));
}

// Source: ILAC-G8:09/2019, table of specific risks at the acceptance limit.
TEST_CASE("specific risk of the decision rules") {
  CHECK(specific_risk(0) == doctest::Approx(0.5));
  CHECK(specific_risk(0.83) == doctest::Approx(0.04845722626672282).epsilon(1e-12));
  CHECK(specific_risk(1) == doctest::Approx(0.022750131948179195).epsilon(1e-12));
  CHECK(specific_risk(1.5) == doctest::Approx(0.0013498980316300933).epsilon(1e-10));
  CHECK(specific_risk(3) < 1e-6);
}

TEST_CASE("three zones at each limit") {
  const Interval limit{10, 20};
  CHECK(decide({15, 0.5}, limit, 1) == Conformity::inside);
  CHECK(decide({10.5, 0.5}, limit, 1) == Conformity::undecided);  // inside by less than w = 1
  CHECK(decide({9.5, 0.5}, limit, 1) == Conformity::undecided);
  CHECK(decide({8.9, 0.5}, limit, 1) == Conformity::outside);
  CHECK(decide({21.1, 0.5}, limit, 1) == Conformity::outside);
  CHECK(decide({19.1, 0.5}, limit, 0.83) == Conformity::inside);
  CHECK(decide({19.1, 0.5}, limit, 1) == Conformity::undecided);
}

TEST_CASE("one-sided limits, and what is never inside") {
  CHECK(decide({0.05, 0.01}, {-INFINITY, 0.1}, 1) == Conformity::inside);
  CHECK(decide({1e9, 1}, {1e7, INFINITY}, 1) == Conformity::inside);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const Estimate bad : {Estimate{nan, 0.1}, Estimate{15, nan}, Estimate{INFINITY, 0.1},
                             Estimate{15, -0.1}, Estimate{15, INFINITY}, Estimate{}})
    CHECK(decide(bad, {10, 20}, 1) == Conformity::undecided);
  CHECK(decide({15, 0.1}, {nan, nan}, 1) != Conformity::inside);
  CHECK(decide({15, 3}, {10, 20}, 1) ==
        Conformity::undecided);  // the band is wider than the interval
}

TEST_CASE("the rule in words carries its risk") {
  CHECK(rule_text(1).find("2.3%") != std::string::npos);
  CHECK(rule_text(0.83).find("4.8%") != std::string::npos);
}
