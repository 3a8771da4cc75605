#include "metrology/uncertainty.h"

#include <doctest/doctest.h>

#include <cmath>
#include <numeric>

#include "metrology/accuracy.h"
#include "metrology/copper.h"
#include "quantity/error.h"

using namespace pinproof;
using namespace pinproof::metrology;

// Source: JCGM 100:2008, H.1 (end gauge): contributions in nm; the published
// u_c is 32 (31.66 unrounded), nu_eff 16, t_99(16) 2.92 and U_99 93 nm.
TEST_CASE("GUM H.1, end-gauge calibration") {
  const std::vector<Contribution> budget{
      {"standard", 25, 1, 18},
      {"difference", std::hypot(5.8, 3.9, 6.7), 1, 25.6},
      {"expansion difference", 0.58e-6, -50000623.0 * -0.1, 50},
      {"temperature difference", 0.029, -50000623.0 * 11.5e-6, 2}};
  const auto combined = combine(budget);
  CHECK(combined.u == doctest::Approx(31.66).epsilon(0.002));
  CHECK(std::floor(combined.degrees_of_freedom) == 16);
  const double k = coverage_factor(0.99, combined.degrees_of_freedom);
  CHECK(k == doctest::Approx(2.920781622).epsilon(1e-8));
  CHECK(std::round(k * std::round(combined.u)) == 93);
}

namespace {

struct Means {
  std::vector<double> mean, u, correlation;
};

// Means of simultaneous observations, with the correlation of the means.
Means means_of(const std::vector<std::vector<double>>& columns) {
  Means out;
  const double n = static_cast<double>(columns.front().size());
  for (const auto& c : columns) out.mean.push_back(std::accumulate(c.begin(), c.end(), 0.0) / n);
  const auto covariance = [&](std::size_t i, std::size_t j) {
    double sum = 0;
    for (std::size_t k = 0; k < columns[i].size(); ++k)
      sum += (columns[i][k] - out.mean[i]) * (columns[j][k] - out.mean[j]);
    return sum / (n - 1) / n;
  };
  for (std::size_t i = 0; i < columns.size(); ++i) out.u.push_back(std::sqrt(covariance(i, i)));
  for (std::size_t i = 0; i < columns.size(); ++i)
    for (std::size_t j = 0; j < columns.size(); ++j)
      out.correlation.push_back(covariance(i, j) / (out.u[i] * out.u[j]));
  return out;
}

}  // namespace

// Source: JCGM 100:2008, H.2, tables H.2 and H.4: R 127.732 (0.071),
// X 219.847 (0.295), Z 254.260 (0.236) ohm; r(V,I) -0.36, r(V,phi) 0.86, r(I,phi) -0.65.
TEST_CASE("GUM H.2, resistance, reactance and impedance measured together") {
  const auto m = means_of({{5.007, 4.994, 5.005, 4.990, 4.999},
                           {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
                           {1.0456, 1.0438, 1.0468, 1.0428, 1.0433}});
  CHECK(m.correlation[1] == doctest::Approx(-0.36).epsilon(0.02));
  CHECK(m.correlation[2] == doctest::Approx(0.86).epsilon(0.01));
  CHECK(m.correlation[5] == doctest::Approx(-0.65).epsilon(0.01));
  struct Output {
    std::function<double(std::span<const double>)> f;
    double value, u;
  };
  const Output outputs[] = {
      {[](auto x) { return x[0] / x[1] * std::cos(x[2]); }, 127.732, 0.0710714},
      {[](auto x) { return x[0] / x[1] * std::sin(x[2]); }, 219.847, 0.2955817},
      {[](auto x) { return x[0] / x[1]; }, 254.260, 0.2363361}};
  for (const auto& output : outputs) {
    CHECK(output.f(m.mean) == doctest::Approx(output.value).epsilon(3e-6));
    const auto c = sensitivities(output.f, m.mean, m.u);
    std::vector<Contribution> budget;
    for (std::size_t i = 0; i < 3; ++i) budget.push_back({"", m.u[i], c[i], 4});
    CHECK(combine_correlated(budget, m.correlation) == doctest::Approx(output.u).epsilon(1e-4));
  }
}

// Source: EA-4/02 M:2013, S9 (hand-held meter at 100 V): 0.001, 0.029 and 0.0064 V,
// u 0.030 V, U 0.05 V with k 1.65 for a dominant rectangle of +-0.05 V (95 %).
TEST_CASE("EA-4/02 S9, a dominant rectangle") {
  const std::vector<Contribution> budget{{"standard", 0.002 / 2, 1, 0},
                                         {"resolution", rectangular(0.05), 1, 0},
                                         {"other", rectangular(0.011), 1, 0}};
  CHECK(budget[1].u == doctest::Approx(0.029).epsilon(0.01));
  CHECK(budget[2].u == doctest::Approx(0.0064).epsilon(0.01));
  const auto combined = combine(budget);
  CHECK(combined.u == doctest::Approx(0.030).epsilon(0.02));
  CHECK(std::isinf(combined.degrees_of_freedom));
  CHECK(std::round(100 * 0.95 * std::sqrt(3.0) * combined.u) / 100 ==
        0.05);  // k of a rectangle at 95 %
}

// Source: EA-4/02 M:2013, table E.1 (from memory), 95.45 %.
TEST_CASE("coverage factors") {
  const std::pair<double, double> rows[] = {{1, 13.97}, {2, 4.53},  {3, 3.31}, {4, 2.87},
                                            {5, 2.65},  {6, 2.52},  {7, 2.43}, {8, 2.37},
                                            {10, 2.28}, {20, 2.13}, {50, 2.05}};
  for (const auto& [nu, k] : rows) CHECK(std::abs(coverage_factor(0.9545, nu) - k) <= 0.005);
  CHECK(coverage_factor(0.9545, 5.9) == coverage_factor(0.9545, 5));
  CHECK(coverage_factor(0.9545, INFINITY) == doctest::Approx(2.0).epsilon(1e-4));
  CHECK_THROWS_AS((void)coverage_factor(1, 5), Error);
  CHECK_THROWS_AS((void)coverage_factor(0.95, 0.5), Error);
}

// Own example, worked with full precision beforehand: 4.983 ohm at 23.4 +- 0.5 °C.
TEST_CASE("a coil's resistance at 20 °C, with most of its uncertainty from the temperature") {
  const auto r20 = at_reference({4.983, 0}, {23.4, rectangular(0.5)}, 20);
  CHECK(r20.value == doctest::Approx(4.917307096).epsilon(1e-9));
  CHECK(r20.u == doctest::Approx(0.005504087971).epsilon(1e-6));
}

// Source: a common bench meter's service guide: 100 ohm range, one year, 0.010 %
// + 0.004 %: 14 milliohm at full scale.
TEST_CASE("accuracy table of a meter") {
  const AccuracyTable table{{"ohm-4w", 100, 1.2, 100, 40, 0, 0, 1e-3, "service guide"},
                            {"ohm-4w", 1000, 1.2, 100, 10, 0, 0, 1e-3, "service guide"}};
  CHECK(*standard_uncertainty(table, "ohm-4w", 100, 100) ==
        doctest::Approx(0.014 / std::sqrt(3.0)));
  CHECK(*standard_uncertainty(table, "ohm-4w", 100, 5) == doctest::Approx(0.0045 / std::sqrt(3.0)));
  CHECK_FALSE(standard_uncertainty(table, "ohm-4w", 100, 121));
  CHECK_FALSE(standard_uncertainty(table, "ohm-4w", 100, NAN));
  CHECK_FALSE(standard_uncertainty(table, "ohm-2w", 100, 5));
  CHECK(*pick_range(table, "ohm-4w", 119) == 100);
  CHECK(*pick_range(table, "ohm-4w", 121) == 1000);
  CHECK_FALSE(pick_range(table, "ohm-4w", 1e6));
}
