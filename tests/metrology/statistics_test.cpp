// Lot statistics, learned limits and the gauge study against published tables and data sets; each
// file of tests/data/statistics and tests/data/strd names its source in its first lines.
#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "paths.h"
#include "metrology/gauge.h"
#include "metrology/lot_statistics.h"
#include "metrology/tolerance.h"
#include "table.h"

namespace pinproof::metrology {
namespace {

// The numbers of a comment line "# data: 1 2 3".
std::vector<double> data_line(const std::string& name) {
  std::ifstream in(pinproof::tests::data_dir() + "/" + name);
  for (std::string line; std::getline(in, line);) {
    if (line.rfind("# data:", 0) != 0) continue;
    std::vector<double> out;
    std::stringstream stream(line.substr(7));
    for (double x = 0; stream >> x;) out.push_back(x);
    return out;
  }
  return {};
}

TEST_CASE("tolerance factors, exact, against two integrals of others' making") {
  double worst = 0, worst_one = 0;
  std::size_t rows = 0;
  for (const Row& row : table("statistics/tolerance_k_two_sided.tsv")) {
    const double G = number(row, "G"), P = number(row, "P");
    const std::size_t n = count(row, "n");
    worst = std::max(worst, std::abs(two_sided_factor(n, P, G) / number(row, "k_exact") - 1));
    worst_one =
        std::max(worst_one, std::abs(one_sided_factor(n, P, G) / number(row, "k1_exact") - 1));
    ++rows;
  }
  std::printf("%zu tolerance factors: two-sided off by %.1e at most, one-sided by %.1e\n", rows,
              worst, worst_one);
  CHECK(rows > 300);
  CHECK(worst < 1e-6);
  CHECK(worst_one < 1e-5);
  CHECK_THROWS(two_sided_factor(1, 0.95, 0.95));
  CHECK_THROWS(two_sided_factor(10, 1.0, 0.95));
}

TEST_CASE("Wilks: how many parts, and what least to greatest covers") {
  for (const Row& row : table("statistics/wilks_n.tsv")) {
    const double G = number(row, "G"), P = number(row, "P");
    const std::size_t dropped = count(row, "drop");
    CHECK(wilks_n(P, G, dropped, true) == count(row, "n_two_sided"));
    CHECK(wilks_n(P, G, dropped, false) == count(row, "n_one_sided"));
  }
  for (const Row& row : table("statistics/wilks_coverage.tsv")) {
    const std::size_t n = count(row, "n");
    for (const char* G : {"0.90", "0.95", "0.99"})
      CHECK(std::abs(min_max_coverage(n, *parse_number(G)) -
                     number(row, std::string("P_at_G") + G)) < 6e-9);
    CHECK(std::abs(min_max_confidence(n, 0.95) - number(row, "G_for_P0.95")) < 6e-9);
    CHECK(std::abs(min_max_confidence(n, 0.99) - number(row, "G_for_P0.99")) < 6e-9);
  }
}

// The table is off by up to 1.1e-8 in eight cells (n = 150, two-sided 0.01: 3.88935970 there,
// 3.88935971026 with 30 digits in mpmath): its t quantile, not its rounding.
TEST_CASE("Grubbs' critical values") {
  for (const Row& row : table("statistics/grubbs_critical.tsv"))
    for (const auto& [key, text] : row) {
      if (key == "n" || text.empty()) continue;
      const double alpha = *parse_number(key.substr(4));
      CHECK(std::abs(grubbs_critical(count(row, "n"), alpha, key.rfind("two", 0) == 0) -
                     *parse_number(text)) < 1.1e-8);
    }
}

TEST_CASE("generalised ESD: Rosner's example, three outliers") {
  const auto data = data_line("statistics/esd_rosner.tsv");
  REQUIRE(data.size() == 54);
  const auto rows = table("statistics/esd_rosner.tsv");
  const Esd esd = generalised_esd(data, rows.size(), 0.05);
  REQUIRE(esd.steps.size() == rows.size());
  for (std::size_t k = 0; k < rows.size(); ++k) {
    CHECK(data[esd.steps[k].index] == doctest::Approx(number(rows[k], "removed")));
    CHECK(std::abs(esd.steps[k].R - number(rows[k], "R_i")) < 6e-9);
    CHECK(std::abs(esd.steps[k].lambda - number(rows[k], "lambda_i(alpha=0.05)")) < 6e-9);
  }
  CHECK(esd.outliers == 3);
  CHECK_THROWS(generalised_esd(std::vector<double>{1, 2, 3}, 2, 0.05));
  CHECK(generalised_esd(std::vector<double>(9, 5.0), 2, 0.05).steps.empty());  // no spread, no test
}

TEST_CASE("part average testing: robust middle and spread") {
  const auto data = data_line("statistics/pat_mad_check.tsv");
  std::map<std::string, double> wanted;
  for (const Row& row : table("statistics/pat_mad_check.tsv"))
    wanted[row.at("quantity")] = number(row, "value");
  const Moments moments = moments_of(data);
  const Robust robust = robust_of(data);
  const Interval limits = part_average_limits(robust, {-INFINITY, INFINITY});
  CHECK(std::abs(moments.mean - wanted["mean"]) < 6e-10);
  CHECK(std::abs(moments.sd - wanted["sd"]) < 6e-10);
  CHECK(std::abs(robust.middle - wanted["median"]) < 1e-12);
  CHECK(std::abs(quantile_of(data, 0.25) - wanted["Q1_type7"]) < 1e-12);
  CHECK(std::abs(quantile_of(data, 0.75) - wanted["Q3_type7"]) < 1e-12);
  CHECK(std::abs(robust.sigma - wanted["robust_sigma_type7"]) < 6e-12);
  CHECK(std::abs(limits.low - wanted["PAT_lo_type7"]) < 6e-10);
  CHECK(std::abs(limits.high - wanted["PAT_hi_type7"]) < 6e-10);
  CHECK(std::abs(grubbs_critical(30, 0.05, true) - wanted["grubbs_two_sided_0_05"]) < 6e-9);
  // Never beyond the specification; never without any spread.
  CHECK(part_average_limits(robust, {5.1, 5.3}).low == 5.1);
  CHECK(part_average_limits(robust, {5.1, 5.3}).high == 5.3);
  const Robust flat = robust_of(std::vector<double>(12, 3.0), 0.01 / std::sqrt(12));
  CHECK(flat.floored);
  CHECK(flat.sigma == doctest::Approx(0.0028868).epsilon(1e-4));
}

// Probability that noncentral t with four degrees of freedom lies below t > 0, from its definition
// (Z + delta) / S: chi-squared has a closed form there.
double below(double t, double delta) {
  constexpr double kStep = 0.01;
  double sum = 0;
  for (int k = -900; k <= 900; ++k) {
    const double z = k * kStep, s = std::max(0.0, (z + delta) / t), half = 2 * s * s;
    sum += kStep * std::exp(-z * z / 2 - half) * (1 + half) / std::sqrt(2 * M_PI);
  }
  return sum;
}

TEST_CASE("the bound of a lot that lies far inside its limits, or far outside") {
  const double scale = 3 * std::sqrt(5.0);
  for (const double Ppk : {0.5, 30.0, 1500.0, 1900.0, 2200.0, 9000.0, 1e6, 1e12, 1e300}) {
    const auto inside = capability_of({0, 1}, 5, {-3 * Ppk, INFINITY}, 0.95);
    REQUIRE(inside);
    CHECK(below(scale * Ppk, scale * inside->Ppk_lower) == doctest::Approx(0.95).epsilon(1e-7));
    const auto outside = capability_of({0, 1}, 5, {3 * Ppk, INFINITY}, 0.95);
    REQUIRE(outside);
    CHECK(below(scale * Ppk, -scale * outside->Ppk_lower) == doctest::Approx(0.05).epsilon(1e-7));
  }
  const auto unlimited = capability_of({0, 1}, 5, {-INFINITY, INFINITY}, 0.95);
  REQUIRE(unlimited);
  CHECK(unlimited->Ppk_lower == INFINITY);
  CHECK(unlimited->Ppk_interval.low == INFINITY);
}

TEST_CASE("capability and its bounds") {
  for (const Row& row : table("statistics/capability_check.tsv")) {
    const double Pp = number(row, "Cp"), Ppk = number(row, "Cpk");
    const std::size_t n = count(row, "n");
    // s = 1: limits that give these indices.
    const Interval limit{-3 * (2 * Pp - Ppk), 3 * Ppk};
    const auto c = capability_of({0, 1}, n, limit, 0.95);
    REQUIRE(c);
    CHECK(c->Pp == doctest::Approx(Pp).epsilon(1e-12));
    CHECK(c->Ppk == doctest::Approx(Ppk).epsilon(1e-12));
    CHECK(std::abs(c->Pp_interval.low - number(row, "Cp_lo95")) < 2e-8);
    CHECK(std::abs(c->Pp_interval.high - number(row, "Cp_hi95")) < 2e-8);
    // The file's Cpk is printed with six digits, its bounds come from more.
    CHECK(std::abs(c->Ppk_interval.low - number(row, "Cpk_lo95")) < 5e-7);
    CHECK(std::abs(c->Ppk_interval.high - number(row, "Cpk_hi95")) < 5e-7);
    CHECK(std::abs(c->Ppk_lower - number(row, "Cpk_L95_exact")) < 5e-7);
  }
  CHECK(!capability_of({5, 0}, 10, {0, 10}, 0.95));
  const auto one = capability_of({5, 1}, 10, {-INFINITY, 10}, 0.95);
  REQUIRE(one);
  CHECK(std::isnan(one->Pp));
  CHECK(one->Ppk == doctest::Approx(5.0 / 3));
}

// Attainable relative errors in doubles: the decimal data have no exact form.
TEST_CASE("mean and deviation of NIST's univariate sets") {
  const std::map<std::string, double> attainable{{"NumAcc3", 1e-9}, {"NumAcc4", 1e-8}};
  for (const Row& row : table("strd/univariate_certified.tsv")) {
    const std::string name = row.at("name");
    std::vector<double> data;
    std::ifstream in(pinproof::tests::data_dir() + "/strd/" + name + ".tsv");
    if (!in) continue;
    for (std::string line; std::getline(in, line);) {
      const auto value = parse_number(line.substr(line.rfind('\t') + 1));
      if (value) data.push_back(*value);
    }
    INFO(name);
    const Moments moments = moments_of(data);
    const auto it = attainable.find(name);
    CHECK(std::abs(moments.mean / number(row, "mean") - 1) < 1e-14);
    CHECK(std::abs(moments.sd / number(row, "sd") - 1) <
          (it == attainable.end() ? 1e-12 : it->second));
  }
}

TEST_CASE("gauge study: the published crossed example, pooled and not") {
  std::map<std::string, std::map<std::string, std::vector<double>>> by;
  for (const Row& row : table("statistics/grr_aiag_data.tsv")) {
    std::string part = row.at("part");
    if (part.size() == 1) part = "0" + part;
    by[part][row.at("appraiser")].push_back(number(row, "value"));
  }
  GaugeValues values;
  for (const auto& [part, operators] : by) {
    values.emplace_back();
    for (const auto& [who, repeats] : operators) values.back().push_back(repeats);
  }
  const GaugeStudy pooled = gauge_study(values), unpooled = gauge_study(values, 0);
  CHECK(pooled.pooled);
  const auto value_of = [](const GaugeStudy& s, const std::string& q) -> double {
    const std::map<std::string, double> all{{"SSp", s.parts.sum},
                                            {"SSo", s.operators.sum},
                                            {"SSi", s.interaction.sum},
                                            {"SSe", s.repeats.sum},
                                            {"SSt", s.total_sum},
                                            {"MSp", s.parts.mean_square},
                                            {"MSo", s.operators.mean_square},
                                            {"MSi", s.interaction.mean_square},
                                            {"MSe", s.repeats.mean_square},
                                            {"F_int", s.F_interaction},
                                            {"p_int", s.p_interaction},
                                            {"F_part_vs_int", s.F_parts},
                                            {"p_part", s.p_parts},
                                            {"F_oper_vs_int", s.F_operators},
                                            {"p_oper", s.p_operators},
                                            {"var_repeat", s.var_repeat},
                                            {"var_oper", s.var_operator},
                                            {"var_int", s.var_interaction},
                                            {"var_part", s.var_part},
                                            {"var_int_unclamped", s.var_interaction_raw},
                                            {"var_oper_unclamped", s.var_operator_raw},
                                            {"EV", s.repeatability},
                                            {"AV", s.reproducibility},
                                            {"GRR", s.gauge},
                                            {"PV", s.part},
                                            {"TV", s.total},
                                            {"pctGRR", s.percent_of_total},
                                            {"ndc_raw", s.distinct},
                                            {"F_oper", s.F_operators},
                                            {"F_part", s.F_parts}};
    const auto it = all.find(q);
    return it == all.end() ? NAN : it->second;
  };
  std::size_t checked = 0;
  for (const Row& row : table("statistics/grr_aiag_results.tsv")) {
    const bool by_interaction = row.at("model") != "pooled";
    const double ours = value_of(by_interaction ? unpooled : pooled, row.at("quantity"));
    if (std::isnan(ours)) continue;
    const double wanted = number(row, "computed");
    INFO(row.at("model") << " " << row.at("quantity"));
    CHECK(std::abs(ours - wanted) <= 2e-9 * std::abs(wanted) + 1e-14);
    if (const auto published = parse_number(row.at("published"));
        published && row.at("quantity") != "ndc_raw")
      CHECK(std::abs(ours / *published - 1) < 0.002);
    ++checked;
  }
  CHECK(checked > 35);
  CHECK(std::floor(pooled.distinct) == 4);  // published, truncated
  CHECK(percent_of_tolerance(pooled, 6 * pooled.gauge) == doctest::Approx(100));
  values.back().pop_back();
  CHECK_THROWS(gauge_study(values));
}

}  // namespace
}  // namespace pinproof::metrology
