// Global risks against tables computed by another program's adaptive quadrature; each file names
// its source in its first lines.
#include <doctest/doctest.h>

#include <boost/math/distributions/gamma.hpp>
#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <cstdio>
#include <map>
#include <string>

#include "metrology/decision.h"
#include "metrology/global_risk.h"
#include "table.h"

namespace pinproof::metrology {
namespace {

double off(double ours, double wanted) { return std::abs(ours / wanted - 1); }

// Printed with 11 digits.
TEST_CASE("global risks of a normal process, JCGM 106:2012, 9.5") {
  double worst = 0;
  std::size_t rows = 0;
  for (const Row& row : table("statistics/decision_global_risk.tsv")) {
    const double A = number(row, "A_half");
    CHECK(A == doctest::Approx(1 - number(row, "r") * 2 * number(row, "u")).epsilon(1e-12));
    const GlobalRisk ours =
        global_risk({number(row, "mu0"), number(row, "s0")}, number(row, "u"), {-1, 1}, {-A, A});
    for (const double e :
         {off(ours.consumer, number(row, "R_C")), off(ours.producer, number(row, "R_P")),
          off(ours.accepted, number(row, "P_accept")),
          off(ours.nonconforming_if_accepted(), number(row, "P_nonconf_given_accept"))})
      worst = std::max(worst, e);
    ++rows;
  }
  std::printf("%zu global risks: off by %.1e of themselves at most\n", rows, worst);
  CHECK(rows == 92);
  CHECK(worst < 6e-11);
}

// What there is in closed form: P(accept) is a normal probability of the readings.
TEST_CASE("global risks hang together") {
  const Interval tolerance{-1, 1}, acceptance{-0.8, 0.9};
  const GlobalRisk r = global_risk({0.2, 0.5}, 0.2, tolerance, acceptance);
  const double readings = std::hypot(0.5, 0.2);
  CHECK(r.accepted ==
        doctest::Approx(conformance_probability({0.2, readings}, acceptance)).epsilon(1e-13));
  CHECK(
      r.producer - r.consumer ==
      doctest::Approx(conformance_probability({0.2, 0.5}, tolerance) - r.accepted).epsilon(1e-11));
  // No lower limit; nothing accepted; a process far outside.
  CHECK(global_risk({0, 1}, 0.1, {-INFINITY, 1}, {-INFINITY, 1}).accepted ==
        doctest::Approx(conformance_probability({0, std::hypot(1, 0.1)}, {-INFINITY, 1})));
  CHECK(global_risk({0, 1}, 0.1, {-1, 1}, {1, -1}).accepted == 0);
  CHECK(global_risk({0, 1}, 0.1, {-1, 1}, {1, -1}).nonconforming_if_accepted() == 0);
  CHECK(global_risk({100, 1}, 0.1, {-1, 1}, {-1, 1}).producer == 0);
  // A far better bench than process, and the other way about.
  CHECK(global_risk({0, 1}, 1e-3, {-1, 1}, {-1, 1}).accepted ==
        doctest::Approx(conformance_probability({0, std::hypot(1, 1e-3)}, {-1, 1})).epsilon(1e-11));
  CHECK(global_risk({0, 1e-3}, 1, {-1, 1}, {-1, 1}).accepted ==
        doctest::Approx(conformance_probability({0, std::hypot(1, 1e-3)}, {-1, 1})).epsilon(1e-11));
  CHECK_THROWS(global_risk({0, 0}, 0.1, tolerance, acceptance));
  CHECK_THROWS(global_risk({0, 1}, 0, tolerance, acceptance));
}

// The bearing of JCGM 106: gamma prior of shape 4 and rate 4, upper limit 2, u 0.25.
GlobalRisk bearing(double acceptance) {
  const boost::math::gamma_distribution<> prior(4, 0.25);
  return global_risk([&](double x) { return boost::math::pdf(prior, x); }, {0, 15}, 0.25, {0, 2},
                     {-INFINITY, acceptance});
}

double bearing_limit(double consumer) {
  std::uintmax_t most = 100;
  const auto [low, high] = boost::math::tools::toms748_solve(
      [&](double a) { return bearing(a).consumer - consumer; }, 1.0, 2.0,
      boost::math::tools::eps_tolerance<double>(44), most);
  return (low + high) / 2;
}

std::map<std::string, double> examples() {
  std::map<std::string, double> out{
      {"zener p_conform", conformance_probability({-5.47, 0.05}, {-INFINITY, -5.40})},
      {"container p_conform", conformance_probability({509.7, 8.6}, {490, INFINITY})},
      {"oil p_conform", conformance_probability({13.6, 1.8}, {12.5, 16.3})},
      // With no limit on what is accepted, the consumer's risk is the share of bad parts.
      {"bearing p_nonconform", bearing(INFINITY).consumer},
      {"bearing R_C", bearing(2).consumer},
      {"bearing R_P simple", bearing(2).producer},
      {"bearing A_U", bearing_limit(0.001)},
      {"bearing R_P guarded", bearing(bearing_limit(0.001)).producer}};
  for (const char* w : {"0", "0.04", "0.066", "0.08"}) {
    const double guard = *parse_number(w);
    const GlobalRisk r =
        global_risk({1500, 0.12}, 0.04, {1499.8, 1500.2}, {1499.8 + guard, 1500.2 - guard});
    const std::string name = std::string("resistor w=") + w;
    out[name + " R_C"] = r.consumer, out[name + " R_P"] = r.producer;
    out[name + " P_accept"] = r.accepted;
  }
  return out;
}

// A row's name in examples(); "" for the rules' risks at the limit.
std::string name_of(const Row& row) {
  const std::string &kind = row.at("case"), &inputs = row.at("inputs"), &what = row.at("quantity");
  if (kind.rfind("ILAC", 0) == 0) return "";
  if (kind == "resistor") return kind + " " + inputs.substr(inputs.find("w=")) + " " + what;
  if (kind == "bearing" && what == "R_P")
    return kind + " R_P " + (inputs == "simple acceptance" ? "simple" : "guarded");
  return kind + " " + what;
}

// The limit 1500 leaves 1e-13 of each end; the file's figures are doubles.
TEST_CASE("examples of JCGM 106:2012 and the rules of ILAC-G8:09/2019") {
  const auto ours = examples();
  double worst = 0;
  std::size_t checked = 0;
  for (const Row& row : table("statistics/decision_examples.tsv")) {
    const double wanted = number(row, "computed");
    const std::string name = name_of(row);
    double found = 0;
    if (name.empty()) {
      const std::string& rule = row.at("inputs");
      // Uncritical acceptance by w = -U: what is turned away at its limit is what r = 1 lets in.
      const double w = *parse_number(rule.substr(2, rule.find('U') - 2));
      found = specific_risk(std::abs(w));
    } else {
      REQUIRE(ours.count(name) == 1);
      found = ours.at(name);
    }
    INFO(row.at("case") << " " << row.at("inputs") << " " << row.at("quantity"));
    CHECK(off(found, wanted) <
          (name == "bearing A_U" || name == "bearing R_P guarded" ? 1e-9 : 1e-10));
    worst = std::max(worst, off(found, wanted));
    ++checked;
  }
  std::printf("%zu decision examples: off by %.1e of themselves at most\n", checked, worst);
  CHECK(checked == 26);
}

}  // namespace
}  // namespace pinproof::metrology
