// Minimum covariance determinant and distances against published figures and brute force; each file
// of tests/data/statistics names its source in its first lines.
#include <doctest/doctest.h>

#include <algorithm>
#include <bit>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <numeric>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "paths.h"
#include "metrology/mcd_correction.h"
#include "metrology/robust_distance.h"
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

double worst_off(const std::vector<double>& ours, const std::vector<double>& wanted) {
  REQUIRE(ours.size() == wanted.size());
  double worst = 0;
  for (std::size_t i = 0; i < ours.size(); ++i)
    worst = std::max(worst, std::abs(ours[i] - wanted[i]));
  return worst;
}

std::vector<double> normal_rows(std::size_t n, std::size_t p, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<double> out(n * p);
  for (double& x : out) x = normal(random);
  return out;
}

// Source: hbk of Hawkins, Bradu and Kass 1984: 75 rows, the first 14 outliers.
TEST_CASE("minimum covariance determinant of hbk") {
  const std::string file = "statistics/mcd_hbk.tsv";
  std::vector<double> rows;
  const auto wanted = table(file);
  for (const Row& row : wanted)
    for (const char* x : {"x1", "x2", "x3"}) rows.push_back(number(row, x));
  const McdOutcome outcome = minimum_covariance_determinant(rows, 3);
  REQUIRE(outcome.mcd);
  const Mcd& mcd = *outcome.mcd;
  CHECK(mcd.subset.size() == 39);
  CHECK(mcd.small_sample_corrected);
  const double off = std::abs(mcd.log_determinant + 1.047858488804);
  CHECK(off < 1e-11);
  std::vector<double> subset;
  for (const std::size_t i : mcd.subset) subset.push_back(static_cast<double>(i + 1));
  CHECK(subset == comment(file, "best subset (1-based)"));
  double worst = 0;
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    CHECK(mcd.weights[i] == (i < 14 ? 0 : 1));
    CHECK(mcd.weights[i] == static_cast<int>(count(wanted[i], "w")));
    worst = std::max(worst, std::abs(mcd.squared_distances[i] / number(wanted[i], "mah2") - 1));
  }
  const double centre = worst_off(mcd.centre, comment(file, "center"));
  const double covariance = worst_off(mcd.covariance, comment(file, "cov (row-major)"));
  std::printf(
      "hbk: log determinant off by %.1e, centre %.1e, covariance %.1e, distances %.1e of "
      "themselves\n",
      off, centre, covariance, worst);
  CHECK(centre < 1e-12);
  CHECK(covariance < 1e-12);
  CHECK(worst < 1e-10);
  CHECK(worst_off(mcd.raw_centre, comment(file, "raw.center")) < 1e-12);
  CHECK(worst_off(mcd.raw_covariance, comment(file, "raw.cov (row-major)")) < 1e-8);
  // raw.cnp2 and cnp2 of the file's second line.
  CHECK(std::abs(mcd_consistency(3, 39 / 75.0) - 2.3679284708362) < 1e-12);
  CHECK(std::abs(mcd_consistency(3, 61 / 75.0) - 1.4528285808076) < 1e-12);
  CHECK(std::abs(*mcd_small_sample(3, 75, McdStage::raw) - 1.1279211885867) < 1e-12);
  CHECK(std::abs(*mcd_small_sample(3, 75, McdStage::reweighted) - 1.0049083325300) < 1e-12);
  CHECK(!mcd_small_sample(3, 9, McdStage::reweighted));
  CHECK(!mcd_small_sample(3, 6, McdStage::reweighted));
}

// Log determinant of the covariance of the rows whose bit is set; two columns.
double log_determinant_of(const std::vector<double>& rows, unsigned bits) {
  double n = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0;
  for (std::size_t i = 0; 2 * i < rows.size(); ++i)
    if (bits >> i & 1U) n += 1, x += rows[2 * i], y += rows[2 * i + 1];
  x /= n, y /= n;
  for (std::size_t i = 0; 2 * i < rows.size(); ++i) {
    if (!(bits >> i & 1U)) continue;
    const double a = rows[2 * i] - x, b = rows[2 * i + 1] - y;
    xx += a * a, yy += b * b, xy += a * b;
  }
  return std::log(xx * yy - xy * xy) - 2 * std::log(n - 1);
}

TEST_CASE("the subset is the best of all there are") {
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    auto rows = normal_rows(16, 2, seed);
    for (std::size_t i = 0; i < 4; ++i) rows[2 * i] += 5 + static_cast<double>(i) / 3;
    const McdOutcome outcome = minimum_covariance_determinant(rows, 2);
    REQUIRE(outcome.mcd);
    double least = INFINITY;
    for (unsigned bits = 0; bits < 1U << 16; ++bits)
      if (std::popcount(bits) == 9) least = std::min(least, log_determinant_of(rows, bits));
    CHECK(std::abs(outcome.mcd->log_determinant - least) < 1e-10);
  }
}

TEST_CASE("units do not matter, and the same is found again") {
  auto rows = normal_rows(60, 4, 7);
  for (std::size_t i = 0; i < 15; ++i) rows[4 * i + 1] += 8;
  const auto plain = minimum_covariance_determinant(rows, 4);
  const double unit[] = {1e-9, 1e6, 1, 1e-3}, zero[] = {5e-6, -3e7, 100, 0};
  for (std::size_t i = 0; i < rows.size(); ++i) rows[i] = zero[i % 4] + unit[i % 4] * rows[i];
  const auto scaled = minimum_covariance_determinant(rows, 4);
  REQUIRE(plain.mcd);
  REQUIRE(scaled.mcd);
  CHECK(plain.mcd->subset == scaled.mcd->subset);
  CHECK(plain.mcd->weights == scaled.mcd->weights);
  for (std::size_t i = 0; i < 60; ++i)
    CHECK(scaled.mcd->squared_distances[i] ==
          doctest::Approx(plain.mcd->squared_distances[i]).epsilon(1e-6));
  for (std::size_t j = 0; j < 4; ++j)
    CHECK(scaled.mcd->covariance[5 * j] ==
          doctest::Approx(plain.mcd->covariance[5 * j] * unit[j] * unit[j]).epsilon(1e-6));
  CHECK(minimum_covariance_determinant(rows, 4).mcd->squared_distances ==
        scaled.mcd->squared_distances);
}

// det^(1/p) of a covariance, by elimination.
double generalised_variance(std::vector<double> S, std::size_t p) {
  double log_sum = 0;
  for (std::size_t k = 0; k < p; ++k) {
    log_sum += std::log(S[k * p + k]);
    for (std::size_t i = k + 1; i < p; ++i)
      for (std::size_t j = k + 1; j < p; ++j)
        S[i * p + j] -= S[i * p + k] * S[k * p + j] / S[k * p + k];
  }
  return std::exp(log_sum / static_cast<double>(p));
}

// The small-sample factors are fitted so that the mean of det^(1/p) is that of the parts, 1. Single
// variances lie above it in few parts (n 60, p 6: by 15 %), as the matrix is not round there.
TEST_CASE("on good parts the corrected covariances are right in the mean") {
  struct Setting {
    std::size_t n, p, runs;
  };
  for (const auto& [n, p, runs] : {Setting{40, 3, 40}, {60, 6, 30}, {300, 6, 4}}) {
    double sum = 0, raw = 0;
    for (std::size_t run = 0; run < runs; ++run) {
      const auto mcd = minimum_covariance_determinant(normal_rows(n, p, 100 + run), p).mcd;
      REQUIRE(mcd);
      sum += generalised_variance(mcd->covariance, p) / static_cast<double>(runs);
      raw += generalised_variance(mcd->raw_covariance, p) / static_cast<double>(runs);
    }
    std::printf("n %zu, p %zu: det^(1/p) %.3f, raw %.3f of 1\n", n, p, sum, raw);
    CHECK(std::abs(sum - 1) < 0.08);
    CHECK(std::abs(raw - 1) < 0.12);
  }
}

TEST_CASE("of many good parts one in forty is left out of the reweighted covariance") {
  const auto mcd = minimum_covariance_determinant(normal_rows(2000, 3, 11), 3).mcd;
  REQUIRE(mcd);
  CHECK(std::abs(std::accumulate(mcd->weights.begin(), mcd->weights.end(), 0) / 2000.0 - 0.975) <
        0.008);
}

TEST_CASE("many parts of twelve variables, a third of them off") {
  for (const std::size_t n : std::initializer_list<std::size_t>{601, 1500}) {
    auto rows = normal_rows(n, 12, 3);
    for (std::size_t i = 0; i < n / 3; ++i)
      for (std::size_t j = 0; j < 12; ++j) rows[12 * i + j] += 4;
    const auto begin = std::chrono::steady_clock::now();
    const auto outcome = minimum_covariance_determinant(rows, 12);
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begin;
    std::printf("MCD of %zu by 12: %.3f s\n", n, took.count());
    REQUIRE(outcome.mcd);
    const auto& w = outcome.mcd->weights;
    const auto third = static_cast<std::ptrdiff_t>(n / 3);
    CHECK(std::accumulate(w.begin(), w.begin() + third, 0) == 0);
    CHECK(std::accumulate(w.begin() + third, w.end(), 0) >
          0.9 * static_cast<double>(w.end() - w.begin() - third));
    for (const double c : outcome.mcd->centre) CHECK(std::abs(c) < 0.25);
  }
}

TEST_CASE("what has no robust covariance says why") {
  auto rows = normal_rows(20, 3, 5);
  const auto failure = [](const std::vector<double>& x, std::size_t p) {
    McdOutcome out = minimum_covariance_determinant(x, p);
    CHECK(!out.mcd);
    CHECK(!failure_text(out).empty());
    return out;
  };
  CHECK(failure(std::vector<double>(rows.begin(), rows.begin() + 15), 3).failure ==
        McdFailure::too_few_rows);
  CHECK(failure({}, 3).failure == McdFailure::too_few_rows);
  auto other = rows;
  other[7] = NAN;
  CHECK(failure(other, 3).failure == McdFailure::not_finite);
  CHECK(failure(other, 3).column == 1);
  other = rows;
  for (std::size_t i = 0; i < 20; ++i) other[3 * i + 2] = 5;
  CHECK(failure(other, 3).failure == McdFailure::no_spread);
  CHECK(failure(other, 3).column == 2);
  CHECK(failure_text(failure(other, 3)).find("variable 3") == 0);
  // One value in 12 of 20: the half that the determinant is least of has no spread either.
  for (std::size_t i = 0; i < 8; ++i) other[3 * i + 2] = static_cast<double>(i);
  CHECK(failure(other, 3).failure == McdFailure::no_spread);
  // A linear relation, of all rows and of most of them.
  for (std::size_t i = 0; i < 20; ++i) other[3 * i + 2] = 2 * other[3 * i] - other[3 * i + 1];
  CHECK(failure(other, 3).failure == McdFailure::singular);
  for (std::size_t i = 0; i < 5; ++i) other[3 * i + 2] += static_cast<double>(i + 1);
  CHECK(failure(other, 3).failure == McdFailure::singular);
  CHECK_THROWS(minimum_covariance_determinant(std::vector<double>(7), 3));
  CHECK_THROWS(minimum_covariance_determinant(rows, 0));
  // One variable is no special case.
  CHECK(minimum_covariance_determinant(normal_rows(30, 1, 2), 1).mcd->subset.size() == 16);
}

TEST_CASE("cut-offs of squared distances") {
  double worst = 0;
  for (const Row& row : table("statistics/chi2_cutoffs.tsv")) {
    const std::size_t p = count(row, "p");
    for (const auto& [key, text] : row) {
      if (key == "p") continue;
      const double probability = *parse_number(key.substr(key.rfind('_') + 1));
      const double ours =
          key[0] == 'F'
              ? distance_cutoff_new_part(
                    p, static_cast<std::size_t>(*parse_number(key.substr(3, key.rfind('_') - 3))),
                    probability)
              : distance_cutoff_chi2(p, probability);
      worst = std::max(worst, std::abs(ours - *parse_number(text)));
    }
  }
  std::printf("distance cut-offs: off by %.1e at most\n", worst);
  CHECK(worst < 6e-9);
  CHECK_THROWS(distance_cutoff_new_part(3, 3, 0.99));
  CHECK_THROWS(distance_cutoff_chi2(0, 0.99));
  CHECK_THROWS(distance_cutoff_chi2(2, 1));
}

// By hand: correlation 0.9, one variable up and the other down by a deviation: d2 = 2 / (1 - 0.9).
TEST_CASE("by what a part is unusual") {
  const std::vector<double> centre{5, 0.1}, covariance{4, 0.09 * 2, 0.09 * 2, 0.01};
  const auto across = distance_shares(std::vector<double>{7, 0}, centre, covariance);
  CHECK(across.squared_distance == doctest::Approx(20).epsilon(1e-12));
  CHECK(across.standardised[0] == doctest::Approx(1));
  CHECK(across.standardised[1] == doctest::Approx(-1));
  CHECK(across.given_others[0] == doctest::Approx(1.9 / std::sqrt(0.19)).epsilon(1e-12));
  CHECK(across.given_others[1] == doctest::Approx(-1.9 / std::sqrt(0.19)).epsilon(1e-12));
  CHECK(across.share[0] == doctest::Approx(0.5));
  // Without correlation the shares are the squares of the deviations.
  const auto apart =
      distance_shares(std::vector<double>{11, 0.2}, centre, std::vector<double>{4, 0, 0, 0.01});
  CHECK(apart.squared_distance == doctest::Approx(10));
  CHECK(apart.share[0] == doctest::Approx(0.9));
  CHECK(apart.share[1] == doctest::Approx(0.1));
  CHECK(apart.given_others[0] == doctest::Approx(3));
  CHECK(distance_shares(centre, centre, covariance).share == std::vector<double>{0, 0});
  // Of hbk, each distance again, and shares that sum to 1.
  std::vector<double> rows;
  for (const Row& row : table("statistics/mcd_hbk.tsv"))
    for (const char* x : {"x1", "x2", "x3"}) rows.push_back(number(row, x));
  const auto mcd = minimum_covariance_determinant(rows, 3).mcd;
  REQUIRE(mcd);
  for (std::size_t i = 0; i < 75; ++i) {
    const auto s = distance_shares(std::span(rows).subspan(3 * i, 3), mcd->centre, mcd->covariance);
    CHECK(s.squared_distance == doctest::Approx(mcd->squared_distances[i]).epsilon(1e-10));
    CHECK(s.share[0] + s.share[1] + s.share[2] == doctest::Approx(1).epsilon(1e-12));
    CHECK(*std::min_element(s.share.begin(), s.share.end()) >= 0);
  }
  CHECK_THROWS(distance_shares(std::vector<double>{1}, centre, covariance));
  CHECK_THROWS(distance_shares(centre, centre, std::vector<double>{1, 1, 1, 1}));
  CHECK_THROWS(distance_shares(centre, centre, std::vector<double>{1, 0, 0, 0}));
}

}  // namespace
}  // namespace pinproof::metrology
