// The middle, the spread and the order of a few numbers.
#include "quantity/statistics.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <stdexcept>
#include <vector>

using namespace pinproof;

TEST_CASE("medians: of an odd count the middle, of an even one both or the greater") {
  CHECK(median_of({7}) == 7);
  CHECK(median_of({9, -1, 4}) == 4);
  CHECK(median_of({4, 1, 3, 2}) == 2.5);
  CHECK(median_of({2, 2, 2, 9}) == 2);
  CHECK(upper_median_of({7}) == 7);
  CHECK(upper_median_of({9, -1, 4}) == 4);
  CHECK(upper_median_of({4, 1, 3, 2}) == 3);
}

TEST_CASE("ranks and medians of many, against a full sort") {
  std::mt19937_64 random(5);
  std::normal_distribution<double> normal(3, 2);
  for (std::size_t n = 1; n <= 60; ++n) {
    std::vector<double> values(n);
    for (double& x : values) x = normal(random);
    const std::vector<double> rising = sorted_of(values);
    REQUIRE(std::is_sorted(rising.begin(), rising.end()));
    const double middle = (rising[(n - 1) / 2] + rising[n / 2]) / 2;
    REQUIRE(median_of(values) == middle);
    REQUIRE(upper_median_of(values) == rising[n / 2]);
    std::vector<double> work = values;
    REQUIRE(median_in_place(work) == middle);
    REQUIRE(sorted_of(work) == rising);  // another order, the same values
    for (std::size_t rank = 0; rank < n; ++rank) REQUIRE(value_at_rank(work, rank) == rising[rank]);
  }
}

TEST_CASE("quantiles of type 7") {
  // By the formula of Hyndman and Fan 1996 at hand: rank 1 + p (n - 1).
  const std::vector<double> values{10, 1, 3, 6};
  CHECK(quantile_of(values, 0) == 1);
  CHECK(quantile_of(values, 1) == 10);
  CHECK(quantile_of(values, 0.5) == 4.5);
  CHECK(quantile_of(values, 0.25) == 2.5);                  // rank 1.75: 1 + 0.75 (3 - 1)
  CHECK(quantile_of(values, 0.9) == doctest::Approx(8.8));  // rank 3.7: 6 + 0.7 (10 - 6)
  CHECK(quantile_of(std::vector<double>{5}, 0.3) == 5);
  CHECK(quantile_of_sorted(std::vector<double>{1, 3, 6, 10}, 0.25) == 2.5);
  CHECK_THROWS_AS(quantile_of({}, 0.5), std::domain_error);
  CHECK_THROWS_AS(sorted_of({}), std::domain_error);
}

TEST_CASE("mean and standard deviation keep their digits where the mean is large") {
  CHECK(mean_of(std::vector<double>{1, 2, 6}) == 3);
  const Moments one = moments_of(std::vector<double>{2, 4, 4, 4, 5, 5, 7, 9});
  CHECK(one.mean == 5);
  CHECK(one.sd == doctest::Approx(std::sqrt(32.0 / 7)));
  // Made as NIST's StRD NumAcc4 is: mean 10000000.2, standard deviation 0.1.
  std::vector<double> large{10000000.2};
  for (int k = 0; k < 500; ++k) large.insert(large.end(), {10000000.1, 10000000.3});
  const Moments two = moments_of(large);
  CHECK(std::abs(two.mean - 10000000.2) < 1e-8);
  CHECK(std::abs(two.sd - 0.1) < 1e-8);
  CHECK_THROWS_AS(moments_of(std::vector<double>{1}), std::domain_error);
}
