// The sequential test keeps the risks that it states, ends sooner than the fixed sample that it
// stands for, and agrees with Wald's figures of the cases it takes.
#include "campaign/sequential.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

using namespace pinproof::tests;

namespace {

struct Came {
  int bad = 0;
  double cases = 0;  // mean
};

Came campaigns(const Shares& shares, double share, int count) {
  std::mt19937_64 random(1945);
  std::bernoulli_distribution fails(share);
  Came out;
  for (int k = 0; k < count; ++k) {
    Sequential test(shares);
    while (test.is_open()) test.add(fails(random));
    out.bad += test.says() == Sequential::Says::bad;
    out.cases += static_cast<double>(test.cases()) / count;
  }
  return out;
}

// Of Wald's formula for the mean number of cases: with the limits as they stand, or each passed by
// a whole step of its side, which is the most that a case can go beyond it.
double expected_cases(const Shares& s, double share, double says_good, bool whole_step) {
  double good_at = std::log(s.beta / (1 - s.alpha));
  double bad_at = std::log((1 - s.beta) / s.alpha);
  const double to_bad = std::log(s.bad / s.good);
  const double to_good = std::log((1 - s.bad) / (1 - s.good));
  // Which of the two makes the sum longer hangs on where the walk goes on the whole.
  const bool goes_bad = share * to_bad + (1 - share) * to_good > 0;
  if (whole_step && goes_bad) bad_at += to_bad;
  if (whole_step && !goes_bad) good_at += to_good;
  const double step =
      share * std::log(s.bad / s.good) + (1 - share) * std::log((1 - s.bad) / (1 - s.good));
  return (says_good * good_at + (1 - says_good) * bad_at) / step;
}

constexpr Shares kShares{.good = 0.02, .bad = 0.08, .alpha = 0.05, .beta = 0.02};
constexpr int kCampaigns = 4000;

}  // namespace

TEST_CASE("the risks are at most what is stated, or a little less") {
  // Wald's bounds: alpha / (1 - beta) and beta / (1 - alpha); three standard deviations of the
  // count.
  const auto most = [](double risk, double other) {
    const double p = risk / (1 - other);
    return kCampaigns * p + 3 * std::sqrt(kCampaigns * p);
  };
  const Came good = campaigns(kShares, kShares.good, kCampaigns);
  CHECK(good.bad <= most(kShares.alpha, kShares.beta));
  CHECK(good.bad > 0);
  const Came bad = campaigns(kShares, kShares.bad, kCampaigns);
  CHECK(kCampaigns - bad.bad <= most(kShares.beta, kShares.alpha));
  CHECK(kCampaigns - bad.bad > 0);
}

TEST_CASE("it takes about as many cases as Wald's formula says") {
  for (const double share : {kShares.good, kShares.bad}) {
    const Came came = campaigns(kShares, share, kCampaigns);
    const double says_good = 1 - static_cast<double>(came.bad) / kCampaigns;
    CAPTURE(share);
    CHECK(came.cases > expected_cases(kShares, share, says_good, false));
    CHECK(came.cases < expected_cases(kShares, share, says_good, true));
  }
}

TEST_CASE("the first word counts, and all cases are counted") {
  Sequential test({.good = 0.01, .bad = 0.2});
  while (test.is_open()) test.add(false);
  CHECK(test.says() == Sequential::Says::good);
  const std::size_t then = test.cases();
  CHECK(then == 22);  // log(0.01 / 0.99) over log(0.8 / 0.99), rounded up
  for (int k = 0; k < 100; ++k) test.add(true);
  CHECK(test.says() == Sequential::Says::good);
  CHECK(test.cases() == then + 100);
  CHECK(test.failures() == 100);
}

TEST_CASE("what none in n proves") {
  CHECK(noticed_share(3000) == doctest::Approx(0.000998).epsilon(0.001));  // about 3 / n
  CHECK(noticed_share(1, 0.95) == doctest::Approx(0.95));
  CHECK(noticed_share(100, 0.5) == doctest::Approx(0.006908).epsilon(0.001));
}
