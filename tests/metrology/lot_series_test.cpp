// One pass in flat memory against what all values at once give.
#include "metrology/lot_series.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "metrology/table.h"

using namespace pinproof;
using namespace pinproof::metrology;

namespace {

LotSeries series_of(const std::vector<double>& values) {
  LotSeries out;
  for (std::size_t k = 0; k < values.size(); ++k) out.add(static_cast<std::int64_t>(k), values[k]);
  return out;
}

}  // namespace

TEST_CASE("moments, extremes and drift equal those of all values") {
  std::mt19937_64 random(5);
  std::normal_distribution<double> noise(13, 0.1);
  std::vector<double> values;
  for (int k = 0; k < 5000; ++k) values.push_back(noise(random) + 1e-5 * k);
  const LotSeries series = series_of(values);
  const Moments one = series.moments(), all = moments_of(values);
  CHECK(one.mean == doctest::Approx(all.mean).epsilon(1e-13));
  CHECK(one.sd == doctest::Approx(all.sd).epsilon(1e-12));
  // The slope by the textbook's two sums.
  double xy = 0, xx = 0;
  for (int k = 0; k < 5000; ++k) {
    const double x = k - 4999 / 2.0;
    xy += x * (values[static_cast<std::size_t>(k)] - all.mean), xx += x * x;
  }
  CHECK(series.drift().per_part == doctest::Approx(xy / xx).epsilon(1e-10));
  CHECK(series.drift().p < 1e-6);
  auto sorted = values;
  std::sort(sorted.begin(), sorted.end());
  for (std::size_t k = 0; k < LotSeries::kExtremes; ++k) {
    CHECK(series.lowest()[k].value == sorted[k]);
    CHECK(series.highest()[k].value == sorted[sorted.size() - 1 - k]);
  }
  std::size_t n = 0;
  double sum = 0;
  for (const Block& block : series.blocks()) n += block.n, sum += block.sum;
  CHECK(n == 5000);
  CHECK(sum / 5000 == doctest::Approx(all.mean).epsilon(1e-12));
  CHECK(series.blocks().size() <= LotSeries::kBlocks);
}

TEST_CASE("NIST NumAcc4: a large mean takes no digits from the deviation") {
  // NIST StRD NumAcc4: 1001 values, mean 10000000.2, standard deviation 0.1, certified. Its data:
  // 10000000.2, then 10000000.1 and 10000000.3 in turn.
  LotSeries series;
  series.add(0, 10000000.2);
  for (int k = 0; k < 500; ++k) series.add(1, 10000000.1), series.add(2, 10000000.3);
  CHECK(series.moments().mean == doctest::Approx(10000000.2).epsilon(1e-15));
  // 5.6e-9 is what decimal data in doubles leave; updating loses a little more.
  CHECK(std::abs(series.moments().sd - 0.1) < 1e-8);
}

TEST_CASE("drift of noise alone is rarely called one") {
  std::mt19937_64 random(6);
  std::normal_distribution<double> noise;
  int called = 0;
  for (int lot = 0; lot < 4000; ++lot) {
    LotSeries series;
    for (int k = 0; k < 30; ++k) series.add(k, noise(random));
    called += series.drift().p < 0.05;
  }
  CHECK(called > 4000 * 0.05 - 4 * 14);  // binomial, 4 standard deviations
  CHECK(called < 4000 * 0.05 + 4 * 14);
}

TEST_CASE("extreme studentised deviates from the ends alone: Rosner's data") {
  // Rosner 1983, n = 54, as in NIST/SEMATECH e-Handbook 1.3.5.17.3: three outliers.
  const double data[] = {-0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49,
                         1.49,  1.55, 1.56, 1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91,
                         1.94,  1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26,
                         2.35,  2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93,
                         3.21,  3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01};
  const std::vector<double> values(std::begin(data), std::end(data));
  const EsdOfSeries ends = generalised_esd(series_of(values), 10, 0.05);
  const Esd all = generalised_esd(values, 10, 0.05);
  CHECK(ends.outliers == 3);
  REQUIRE(ends.R.size() == all.steps.size());
  for (std::size_t k = 0; k < all.steps.size(); ++k) {
    CHECK(ends.R[k] == doctest::Approx(all.steps[k].R).epsilon(1e-11));
    CHECK(ends.lambda[k] == doctest::Approx(all.steps[k].lambda).epsilon(1e-11));
  }
  CHECK(ends.R[2] == doctest::Approx(3.1794).epsilon(2e-5));  // as printed there
}

TEST_CASE("share interval: Clopper and Pearson by their definition") {
  // Nothing bad of n: upper bound 1 - (alpha / 2)^(1 / n), in closed form.
  CHECK(share_interval(0, 10, 0.95).high ==
        doctest::Approx(1 - std::pow(0.025, 0.1)).epsilon(1e-12));
  CHECK(share_interval(0, 10, 0.95).low == 0);
  CHECK(share_interval(10, 10, 0.95).low == doctest::Approx(std::pow(0.025, 0.1)).epsilon(1e-12));
  CHECK(share_interval(10, 10, 0.95).high == 1);
  // At the bounds the tail of the binomial is alpha / 2: summed here term by term.
  const Interval i = share_interval(3, 20, 0.9);
  const auto tail = [](double p, int from, int to) {
    double sum = 0;
    for (int k = from; k <= to; ++k)
      sum += std::exp(std::lgamma(21.0) - std::lgamma(k + 1.0) - std::lgamma(21.0 - k)) *
             std::pow(p, k) * std::pow(1 - p, 20 - k);
    return sum;
  };
  CHECK(tail(i.low, 3, 20) == doctest::Approx(0.05).epsilon(1e-9));
  CHECK(tail(i.high, 0, 3) == doctest::Approx(0.05).epsilon(1e-9));
}

TEST_CASE("step between two lots: Welch's interval covers as it says") {
  std::mt19937_64 random(8);
  std::normal_distribution<double> noise;
  int covered = 0;
  constexpr int kLots = 4000;
  for (int lot = 0; lot < kLots; ++lot) {
    std::vector<double> a, b;
    for (int k = 0; k < 12; ++k) a.push_back(noise(random));
    for (int k = 0; k < 30; ++k) b.push_back(0.5 + 3 * noise(random));
    const MeanShift s = mean_shift(moments_of(a), a.size(), moments_of(b), b.size(), 0.95);
    covered += s.interval.low <= 0.5 && 0.5 <= s.interval.high;
  }
  CHECK(covered > kLots * 0.95 - 4 * 14);
  CHECK(covered < kLots * 0.95 + 4 * 14);
  CHECK(mean_shift({1, 0}, 5, {1, 0}, 5, 0.95).p == 1);
  CHECK(mean_shift({1, 0}, 5, {2, 0}, 5, 0.95).p == 0);
}
