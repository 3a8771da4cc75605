// Robust tolerance factors against simulations; each file of tests/data/statistics names its source
// in its first lines.
#include "metrology/robust_tolerance.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "metrology/tolerance.h"
#include "paths.h"
#include "table.h"

namespace pinproof::metrology {
namespace {

// The numbers of a comment line "# name: 1 2 3".
std::vector<double> comment(const std::string& file, const std::string& name) {
  std::ifstream in(pinproof::tests::data_dir() + "/" + file);
  for (std::string line; std::getline(in, line);) {
    if (line.rfind("# " + name + ":", 0) != 0) continue;
    std::vector<double> out;
    std::stringstream stream(line.substr(line.find(':') + 1));
    for (double x = 0; stream >> x;) out.push_back(x);
    return out;
  }
  FAIL("no line " << name);
  return {};
}

// The table's own standard errors stand beside its factors.
TEST_CASE("robust tolerance factors against another's simulation") {
  double worst = 0;
  std::size_t rows = 0;
  std::ifstream in(pinproof::tests::data_dir() + "/statistics/robust_tolerance_k.tsv");
  REQUIRE(in);
  for (std::string line; std::getline(in, line);) {  // its head has "se" more than once
    std::stringstream stream(line);
    double G = 0, P = 0, mad = 0, se_mad = 0, iqr = 0, se_iqr = 0, k_sample = 0, se_sample = 0,
           k_normal = 0;
    std::size_t n = 0;
    if (!(stream >> G >> P >> n >> mad >> se_mad >> iqr >> se_iqr >> k_sample >> se_sample >>
          k_normal))
      continue;
    worst = std::max({worst, std::abs(robust_factor(n, P, G, SpreadMeasure::mad) - mad) / se_mad,
                      std::abs(robust_factor(n, P, G, SpreadMeasure::iqr) - iqr) / se_iqr});
    CHECK(std::abs(two_sided_factor(n, P, G) - k_normal) < 5.1e-5);
    ++rows;
  }
  std::printf("%zu robust factors, two kinds: off by %.2f standard errors at most\n", rows, worst);
  CHECK(rows == 30);
  CHECK(worst < 4);
}

// Between the rows of the table, and beyond them, by a simulation of another seed: its own standard
// error is 1.1 % at n of 8, 0.3 % at 30.
TEST_CASE("robust tolerance factors between the rows of that table") {
  double worst_few = 0, worst = 0;
  for (const std::size_t n : std::initializer_list<std::size_t>{8, 9, 11, 13, 18, 27, 48, 150, 200})
    for (const SpreadMeasure spread : {SpreadMeasure::mad, SpreadMeasure::iqr}) {
      const double drawn = simulated_robust_factor(n, 0.99, 0.95, spread, 15000, 77);
      double& so_far = n < 15 ? worst_few : worst;
      so_far = std::max(so_far, std::abs(robust_factor(n, 0.99, 0.95, spread) / drawn - 1));
    }
  std::printf(
      "robust factors against a small simulation: off by %.2f %% at most, %.2f %% from 18 on\n",
      100 * worst_few, 100 * worst);
  CHECK(worst_few < 0.025);
  CHECK(worst < 0.01);
  for (const std::size_t n : std::initializer_list<std::size_t>{7, 100, 1000, 100000})
    for (const double G : {0.95, 0.99})
      CHECK(robust_factor(n, 0.99, G, SpreadMeasure::mad) >= two_sided_factor(n, 0.99, G));
  // Another pair is simulated, and lies among its neighbours.
  const double other = robust_factor(20, 0.97, 0.95, SpreadMeasure::iqr);
  CHECK(other > robust_factor(20, 0.95, 0.95, SpreadMeasure::iqr));
  CHECK(other < robust_factor(20, 0.99, 0.95, SpreadMeasure::iqr));
  CHECK_THROWS(robust_factor(6, 0.95, 0.95, SpreadMeasure::mad));
  CHECK_THROWS(robust_factor(10, 1, 0.95, SpreadMeasure::mad));
}

// Source: statistics/pat_mad_check.tsv, median 5.21, MADN 0.02223903328.
TEST_CASE("median distance from the median") {
  const auto data = comment("statistics/pat_mad_check.tsv", "data");
  const Robust robust = robust_of(data, SpreadMeasure::mad);
  CHECK(robust.middle == doctest::Approx(5.21).epsilon(1e-12));
  CHECK(robust.sigma == doctest::Approx(0.02223903328).epsilon(2e-6));  // 1.4826 is rounded
  CHECK(robust_of(data, SpreadMeasure::iqr).sigma == robust_of(data).sigma);
  CHECK(robust_of(std::vector<double>{1, 2, 100}, SpreadMeasure::mad).sigma ==
        doctest::Approx(1.4826));
  const Robust flat = robust_of(std::vector<double>(9, 3.0), SpreadMeasure::mad, 0.01);
  CHECK(flat.floored);
  CHECK(flat.sigma == 0.01);
}

}  // namespace
}  // namespace pinproof::metrology
