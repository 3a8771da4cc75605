// Limits learned from known-good parts, and their confidence where lots differ.
#include "metrology/learned.h"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "metrology/lot_statistics.h"
#include "metrology/tolerance.h"
#include "table.h"

namespace pinproof::metrology {
namespace {

// J lots of m normal parts, total variance 1, the share rho of it between lots.
ValuesByLot drawn(std::size_t J, std::size_t m, double rho, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  ValuesByLot out(J, std::vector<double>(m));
  for (auto& lot : out) {
    const double middle = std::sqrt(rho) * normal(random);
    for (double& x : lot) x = 10 + middle + std::sqrt(1 - rho) * normal(random);
  }
  return out;
}

Learning by(LimitMethod method) {
  Learning out;
  out.method = method;
  return out;
}

// The table's confidences are shares of 1e5 runs.
TEST_CASE("confidence of limits learned from lots that differ") {
  double worst = 0, worst_simulated = 0;
  std::size_t rows = 0;
  LotModel model;
  model.k = two_sided_factor(30, 0.99, 0.95);
  for (const Row& row : table("statistics/learn_limits_lot_effect.tsv")) {
    const std::size_t J = count(row, "J_lots"), m = count(row, "m_per_lot");
    model.rho = number(row, "rho");
    const double wanted = number(row, "conf"), variance = wanted * (1 - wanted);
    const double exact = confidence_with_lot_share(J, m, 0.99, 0.95, model.rho);
    const double simulated = simulated_lot_confidence(std::vector<std::size_t>(J, m), model);
    worst = std::max(worst, std::abs(exact - wanted) / std::sqrt(variance / 1e5));
    worst_simulated = std::max(
        worst_simulated, std::abs(simulated - wanted) / std::sqrt(variance * (1 / 1e5 + 1 / 2e4)));
    if (model.rho == 0 || m == 1) CHECK(exact == doctest::Approx(0.95).epsilon(1e-6));
    ++rows;
  }
  std::printf("%zu lot confidences: off by %.2f standard errors at most, simulated %.2f\n", rows,
              worst, worst_simulated);
  CHECK(rows == 24);
  CHECK(worst < 4);
  CHECK(worst_simulated < 4);
  // One lot, a quarter of the variance between lots.
  CHECK(std::round(100 * confidence_with_lot_share(1, 30, 0.99, 0.95, 0.25)) == 57);
  CHECK(confidence_with_lot_share(1, 30, 0.99, 0.95, 1) < 1e-12);  // no spread is seen at all
  CHECK(confidence_with_lot_share(5, 4, 0.99, 0.95, 1) > 0.5);
  CHECK(confidence_with_lot_share(5, 4, 0.99, 0.95, 1) < 0.95);
  CHECK_THROWS(confidence_with_lot_share(1, 1, 0.99, 0.95, 0.1));
  CHECK_THROWS(confidence_with_lot_share(3, 10, 0.99, 0.95, 1.1));
}

TEST_CASE(
    "confidence of the other methods, where lots do not differ, is the one they are made for") {
  const std::vector<std::size_t> sizes{12, 7, 11, 10};
  LotModel model;
  model.method = LimitMethod::nonparametric;
  CHECK(std::abs(simulated_lot_confidence(sizes, model) - min_max_confidence(40, 0.99)) < 0.013);
  model.method = LimitMethod::robust;
  for (const SpreadMeasure spread : {SpreadMeasure::mad, SpreadMeasure::iqr}) {
    model.spread = spread, model.k = robust_factor(40, 0.99, 0.95, spread);
    CHECK(std::abs(simulated_lot_confidence(sizes, model) - 0.95) < 4 * 0.00155);
    CHECK(simulated_lot_confidence(sizes, model) == simulated_lot_confidence(sizes, model));
  }
  model.rho = 0.5;
  CHECK(simulated_lot_confidence(sizes, model) < 0.85);
}

// Upper tail points of A2* as D'Agostino and Stephens 1986 print them (table 4.7, case 3); the
// formulas for p are theirs too, fitted.
TEST_CASE("Anderson-Darling look at normality") {
  const std::pair<double, double> points[] = {{0.470, 0.25},  {0.631, 0.10}, {0.752, 0.05},
                                              {0.873, 0.025}, {1.035, 0.01}, {1.159, 0.005}};
  for (const auto& [A2, p] : points) CHECK(std::abs(normality_p(A2) / p - 1) < 0.03);
  for (const double joint : {0.2, 0.34, 0.6})
    CHECK(std::abs(normality_p(joint - 1e-9) - normality_p(joint + 1e-9)) < 0.006);
  CHECK(normality_p(1000) < 1e-50);
  // By another program (plain sums), the data of statistics/pat_mad_check.tsv.
  const std::vector<double> data{5.21, 5.18, 5.24, 5.19, 5.22, 5.20, 5.23, 5.17, 5.25, 5.21,
                                 5.22, 5.20, 5.19, 5.23, 5.21, 5.18, 5.20, 5.22, 5.24, 5.21,
                                 5.19, 5.22, 5.20, 5.23, 5.21, 5.20, 5.22, 5.19, 5.38, 5.02};
  CHECK(normality_of(data).A2 == doctest::Approx(2.9222862834104633).epsilon(1e-12));
  CHECK(normality_of(data).p < 1e-6);
  const std::span all(data);
  CHECK(normality_of(all.first(28)).A2 == doctest::Approx(0.3205307481012534).epsilon(1e-10));
  CHECK(normality_of(all.first(8)).A2 == doctest::Approx(0.15127395546220795).epsilon(1e-10));
  CHECK(std::isnan(normality_of(all.first(7)).A2));
  CHECK(std::isnan(normality_of(std::vector<double>(9, 1.0)).p));
  // One normal sample in twenty has p below 0.05.
  double few = 0;
  for (std::uint64_t seed = 0; seed < 4000; ++seed)
    if (normality_of(drawn(1, 20, 0, seed)[0]).p < 0.05) few += 1.0 / 4000;
  std::printf("normal samples called not normal at 5 %%: %.2f %%\n", 100 * few);
  CHECK(std::abs(few - 0.05) < 4 * 0.0035);
}

// By hand: means 2, 4, 9, mean squares 39 and 1: 38 / 3 between, 1 within. Unequal: mean squares
// 64 / 3 and 11 / 8, effective size 8 / 3.
TEST_CASE("share of the variance between lots") {
  const LotShare even = lot_share_of({{1, 2, 3}, {}, {3, 4, 5}, {8, 9, 10}});
  CHECK(even.rho == doctest::Approx(38.0 / 41).epsilon(1e-12));
  CHECK(even.raw == even.rho);
  const double between = (64.0 / 3 - 11.0 / 8) * 3 / 8;
  CHECK(lot_share_of({{1, 2}, {4, 5, 6, 7}}).rho ==
        doctest::Approx(between / (between + 11.0 / 8)).epsilon(1e-12));
  // Lots more alike than chance makes them: nothing, and the raw figure says by how much.
  const LotShare alike = lot_share_of({{1, 2, 3}, {1, 2, 3}});
  CHECK(alike.rho == 0);
  CHECK(alike.raw == doctest::Approx(-0.5));
  CHECK(std::isnan(lot_share_of({{1, 2, 3}}).rho));
  CHECK(std::isnan(lot_share_of({{1}, {2}, {3}}).rho));
  CHECK(std::isnan(lot_share_of({{1, 1}, {1, 1}}).rho));
  double mean = 0;
  for (std::uint64_t seed = 0; seed < 200; ++seed)
    mean += lot_share_of(drawn(30, 5, 0.3, seed)).raw / 200;
  CHECK(std::abs(mean - 0.3) < 0.03);
}

TEST_CASE("limits by mean and deviation") {
  const ValuesByLot lots = drawn(5, 6, 0.25, 12);
  const LearnedLimits out = learn_limits(lots, {});
  REQUIRE(out.limits);
  CHECK(out.refusal == LearnRefusal::none);
  CHECK(out.n == 30);
  CHECK(out.lots == 5);
  CHECK(out.k == two_sided_factor(30, 0.99, 0.95));
  CHECK(out.limits->low == out.mean - out.k * out.sd);
  CHECK(out.limits->high == out.mean + out.k * out.sd);
  CHECK(!out.floored);
  CHECK(out.confidence == 0.95);
  CHECK(out.future_confidence ==
        doctest::Approx(confidence_with_lot_share(5, 6, 0.99, 0.95, out.lot_share.rho)));
  CHECK(!out.provisional);
  CHECK(!out.few_lots);
  // Unequal lots are simulated, to about the same.
  ValuesByLot unequal = lots;
  unequal[0].push_back(unequal[1].back());
  unequal[1].pop_back();
  const LearnedLimits other = learn_limits(unequal, {});
  CHECK(other.future_confidence ==
        doctest::Approx(confidence_with_lot_share(5, 6, 0.99, 0.95, other.lot_share.rho))
            .epsilon(0.02));
}

TEST_CASE("the deviation is not below what the bench can tell") {
  Learning how;
  how.resolution = 0.12;
  const ValuesByLot flat(5, std::vector<double>(4, 3.0));
  const LearnedLimits out = learn_limits(flat, how);
  REQUIRE(out.limits);
  CHECK(out.floored);
  CHECK(out.sd == 0);
  CHECK(out.sigma == doctest::Approx(0.12 / std::sqrt(12)));
  CHECK(out.limits->high == doctest::Approx(3 + out.k * out.sigma));
  how.repeatability = 0.05;
  CHECK(learn_limits(flat, how).sigma == 0.05);
  CHECK(!learn_limits(drawn(5, 6, 0, 1), how).floored);
  for (const LimitMethod method : {LimitMethod::normal, LimitMethod::robust}) {
    const LearnedLimits none = learn_limits(flat, by(method));
    CHECK(none.refusal == LearnRefusal::no_spread);
    CHECK(!none.limits);
  }
  how.method = LimitMethod::robust;
  CHECK(learn_limits(flat, how).sigma == 0.05);
  how.repeatability = -1;
  CHECK_THROWS(learn_limits(flat, how));
}

TEST_CASE("least to greatest: refused below the n it takes, with the confidence attained") {
  const std::size_t wanted = wilks_n(0.99, 0.95, 0, true);
  ValuesByLot lots = drawn(6, (wanted + 5) / 6, 0, 3);
  LearnedLimits out = learn_limits(lots, by(LimitMethod::nonparametric));
  REQUIRE(out.limits);
  double least = INFINITY, greatest = -INFINITY;
  for (const auto& lot : lots)
    for (const double x : lot) least = std::min(least, x), greatest = std::max(greatest, x);
  CHECK(out.limits->low == least);
  CHECK(out.limits->high == greatest);
  CHECK(out.confidence == min_max_confidence(out.n, 0.99));
  CHECK(out.confidence >= 0.95);
  CHECK(out.future_confidence > 0);
  lots.pop_back();
  out = learn_limits(lots, by(LimitMethod::nonparametric));
  CHECK(out.refusal == LearnRefusal::too_few_for_min_max);
  CHECK(!out.limits);
  CHECK(out.confidence == min_max_confidence(out.n, 0.99));
  CHECK(out.confidence < 0.95);
  CHECK(std::isnan(out.future_confidence));
}

TEST_CASE("robust limits are not moved by a part that is off") {
  ValuesByLot lots = drawn(5, 8, 0, 21);
  Learning how = by(LimitMethod::robust);
  how.spread = SpreadMeasure::mad;
  const LearnedLimits clean = learn_limits(lots, how);
  lots[2][3] = 1000;
  const LearnedLimits off = learn_limits(lots, how);
  REQUIRE(clean.limits);
  REQUIRE(off.limits);
  CHECK(off.k == robust_factor(40, 0.99, 0.95, SpreadMeasure::mad));
  CHECK(off.limits->low == doctest::Approx(off.middle - off.k * off.sigma));
  CHECK(std::abs(off.limits->high - clean.limits->high) < 1);
  CHECK(off.not_normal);
  CHECK(!clean.not_normal);
  CHECK(learn_limits(lots, {}).limits->high > 100);
  CHECK(off.future_confidence > 0.9);
}

TEST_CASE("what is refused and what is warned of") {
  Learning how;
  CHECK(refusal_of({}, how) == LearnRefusal::too_few_parts);
  CHECK(refusal_of({{1}, {2}}, how) == LearnRefusal::too_few_parts);
  CHECK(learn_limits({{1}, {3}}, how).mean == 2);
  CHECK(refusal_of({{1, NAN}, {2, 3}}, how) == LearnRefusal::not_finite);
  CHECK(!learn_limits({{1, INFINITY}, {2, 3}}, how).limits);
  const ValuesByLot one{drawn(1, 30, 0, 4)[0], {}};
  LearnedLimits out = learn_limits(one, how);
  CHECK(out.refusal == LearnRefusal::one_lot);
  CHECK(!out.limits);
  CHECK(out.n == 30);
  how.allow_few_lots = true;
  out = learn_limits(one, how);
  REQUIRE(out.limits);
  CHECK(out.few_lots);
  CHECK(std::isnan(out.lot_share.rho));
  CHECK(std::isnan(out.future_confidence));  // unknown is not 0.95
  how.assumed_lot_share = 0.25;
  CHECK(std::round(100 * learn_limits(one, how).future_confidence) == 57);
  out = learn_limits(drawn(4, 2, 0, 5), {});
  CHECK(out.limits);
  CHECK(out.few_lots);
  CHECK(out.provisional);
  CHECK(!learn_limits(drawn(5, 2, 0, 5), {}).provisional);
  CHECK(refusal_of(drawn(3, 2, 0, 5), by(LimitMethod::robust)) == LearnRefusal::too_few_for_robust);
  CHECK(refusal_text(LearnRefusal::none).empty());
  for (const LearnRefusal refusal :
       {LearnRefusal::not_finite, LearnRefusal::too_few_parts, LearnRefusal::one_lot,
        LearnRefusal::no_spread, LearnRefusal::too_few_for_min_max,
        LearnRefusal::too_few_for_robust})
    CHECK(!refusal_text(refusal).empty());
  how.coverage = 1;
  CHECK_THROWS(learn_limits(one, how));
}

}  // namespace
}  // namespace pinproof::metrology
