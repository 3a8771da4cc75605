#include "metrology/control_chart.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <stdexcept>
#include <string>
#include <vector>

namespace pinproof::metrology {
namespace {

constexpr ChartBasis kUnit{
    .centre = 0, .sigma = 1, .baseline = 0, .mean_range = 0, .floored = false};

std::vector<ChartPoint> points(const std::vector<double>& values,
                               const std::optional<Certificate>& certificate = {},
                               double accuracy = 0) {
  std::vector<ChartReading> readings;
  for (const double x : values) readings.push_back({x, accuracy});
  return control_points(readings, kUnit, certificate);
}

// One letter a point: '.' for none, '3', '2', '1' and '8' for the first rule that it breaks.
std::string fired(const std::vector<double>& values) {
  std::string out;
  for (const ChartPoint& p : points(values))
    out += p.beyond_three    ? '3'
           : p.two_of_three  ? '2'
           : p.four_of_five  ? '1'
           : p.eight_on_side ? '8'
                             : '.';
  return out;
}

// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rate of ten batches. The
// published limits were checked against a second, public transcription.
TEST_CASE("NIST 6.3.2.2: individuals chart of a flow rate") {
  const std::vector<double> flow{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  const ChartBasis basis = basis_from_readings(flow, flow.size(), 0);
  CHECK(basis.centre == doctest::Approx(50.81).epsilon(1e-9));
  CHECK(std::abs(basis.mean_range - 1.8778) < 5e-5);
  CHECK(std::abs(basis.upper() - 55.8041) < 1e-4);
  CHECK(std::abs(basis.lower() - 45.8159) < 1e-4);
  CHECK(basis.baseline == 10);
  CHECK_FALSE(basis.floored);
  std::vector<ChartReading> readings;
  for (const double x : flow) readings.push_back({x, 0});
  for (const ChartPoint& p : control_points(readings, basis, {})) {
    CHECK_FALSE(p.beyond_three);  // published: the process is in control
    CHECK_FALSE(p.eight_on_side);
  }
}

TEST_CASE("each rule fires at the reading that completes it, and not before") {
  CHECK(fired({0.5, -0.5, 3.0, -3.0}) == "....");
  CHECK(fired({0.5, 3.01, -3.01}) == ".33");
  CHECK(fired({2.1, 0, 2.1, 0, 0, 2.1}) == "..2...");
  CHECK(fired({2.1, 2.1, 0}) == ".2.");
  CHECK(fired({2.1, -2.1, 0.1, -2.1}) == "...2");  // the second and the fourth, both below
  CHECK(fired({2.0, 2.0, 2.0}) == "...");          // on the line is not beyond it
  CHECK(fired({1.1, 1.1, 1.1, -1.1, 1.1}) == "....1");
  CHECK(fired({1.1, 1.1, 1.1, 1.1}) == "...1");
  CHECK(fired({1.1, 0, 1.1, 0, 1.1, 1.1}) == "......");
  CHECK(fired({-1.1, 0, -1.1, -1.1, -1.1}) == "....1");
  CHECK(fired({.1, .1, .1, .1, .1, .1, .1, .1, .1}) == ".......88");
  CHECK(fired({.1, .1, .1, .1, .1, .1, .1, -.1, .1}) == ".........");
  CHECK(fired({.1, .1, .1, .1, 0, .1, .1, .1, .1}) == ".........");  // on the centre is no side
  CHECK(fired({-.1, -.1, -.1, -.1, -.1, -.1, -.1, -.1}) == ".......8");
}

TEST_CASE("one reading may break several rules") {
  const auto all = points({1.5, 1.5, 1.5, 1.5, 0.5, 0.5, 2.5, 3.5});
  CHECK(all.back().beyond_three);
  CHECK(all.back().two_of_three);
  CHECK_FALSE(all.back().four_of_five);
  CHECK(all.back().eight_on_side);
  CHECK(all[3].four_of_five);
  CHECK_FALSE(all[0].any());
  CHECK(points({}).empty());
}

TEST_CASE("the hard limit is the certificate's U and the reading's accuracy, each reading's own") {
  const std::vector<double> inside{0.29, -0.29}, outside{0.31, -0.31};
  for (const ChartPoint& p : points(inside, Certificate{0, 0.1}, 0.2))
    CHECK_FALSE(p.outside_certificate);
  for (const ChartPoint& p : points(outside, Certificate{0, 0.1}, 0.2)) {
    CHECK(p.outside_certificate);
    CHECK(p.any());
  }
  for (const ChartPoint& p : points(outside)) CHECK_FALSE(p.outside_certificate);
  const double none = std::numeric_limits<double>::quiet_NaN();
  const auto bad = points({none}, Certificate{0, 0.1}, 0.2);
  CHECK(bad[0].beyond_three);  // what is no number is never in order
  CHECK(bad[0].outside_certificate);
}

TEST_CASE("sigma is never below what the meter can show") {
  const std::vector<double> same(12, 100.0);
  CHECK_THROWS_AS(basis_from_readings(same, 12, 0), std::domain_error);
  const ChartBasis floored = basis_from_readings(same, 12, 0.001);
  CHECK(floored.sigma == 0.001);
  CHECK(floored.floored);
  CHECK(floored.centre == doctest::Approx(100));
  std::vector<double> live = same;
  live[5] = 101;
  CHECK(basis_from_readings(live, 12, 0.001).sigma == doctest::Approx(2.0 / 11 / 1.128));
  CHECK(basis_from_readings(live, 10, 0.001).centre == doctest::Approx(100.1));  // the first ten
  const ChartBasis from_paper = basis_from_certificate({100, 0.02}, 0.001);
  CHECK(from_paper.centre == 100);
  CHECK(from_paper.sigma == 0.01);
  CHECK(from_paper.baseline == 0);
  CHECK(basis_from_certificate({100, 0.02}, 0.05).sigma == 0.05);
  CHECK(basis_from_certificate({100, 0.02}, 0.05).floored);
}

TEST_CASE("what gives no chart is refused") {
  const double none = std::numeric_limits<double>::quiet_NaN();
  std::vector<double> readings{1, 2, 3, 4, 5, 6, 7, 8, 9, 10};
  CHECK_THROWS_AS(basis_from_readings(readings, 9, 0), std::domain_error);
  CHECK_THROWS_AS(basis_from_readings(readings, 11, 0), std::domain_error);
  CHECK_THROWS_AS(basis_from_readings(readings, 10, -1), std::domain_error);
  CHECK_THROWS_AS(basis_from_readings(readings, 10, none), std::domain_error);
  readings[3] = none;
  CHECK_THROWS_AS(basis_from_readings(readings, 10, 1), std::domain_error);
  CHECK_THROWS_AS(basis_from_certificate({100, 0}, 1), std::domain_error);
  CHECK_THROWS_AS(basis_from_certificate({none, 1}, 1), std::domain_error);
}

}  // namespace
}  // namespace pinproof::metrology
