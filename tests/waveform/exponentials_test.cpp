// Exponential sums against NIST's certified values, against known truth, and
// against the spread of many noisy fits.
#include "waveform/exponentials.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <sstream>
#include <vector>

#include "waveform/block_moments.h"
#include "waveform/files.h"

using namespace pinproof::waveform;

namespace {

using Status = FitStatus;

// Column y of a NIST StRD file from its line 61 on: x is a uniform grid in both.
std::vector<double> nist_y(const std::string& name) {
  std::istringstream in(data_file("strd/" + name));
  std::string line;
  std::vector<double> out;
  for (int n = 1; std::getline(in, line); ++n) {
    std::istringstream row(line);
    double y = 0, x = 0;
    if (n > 60 && row >> y >> x) out.push_back(y);
  }
  return out;
}

double digits(double found, double certified) {
  return -std::log10(std::max(1e-15, std::abs(found - certified) / std::abs(certified)));
}

struct Truth {
  double constant;
  std::vector<double> amplitude, tau;  // tau in samples
};

std::vector<double> noisy(const Truth& truth, std::size_t n, double sigma, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal(0, 1);
  std::vector<double> y(n);
  for (std::size_t t = 0; t < n; ++t) {
    y[t] = truth.constant + sigma * normal(random);
    for (std::size_t j = 0; j < truth.tau.size(); ++j)
      y[t] += truth.amplitude[j] * std::exp(-static_cast<double>(t) / truth.tau[j]);
  }
  return y;
}

}  // namespace

// Certified parameters and standard deviations: NIST StRD, tests/data/strd.
TEST_CASE("NIST MGH17: two exponentials and a constant, ten digits from no starting point") {
  const auto y = nist_y("MGH17.dat");
  REQUIRE(y.size() == 33);
  const auto fit = fit_exponentials(y, 10, 2);
  REQUIRE(fit.status == Status::ok);
  const double fewest = std::min(
      {digits(fit.constant, 3.7541005211E-01), digits(fit.amplitude[0], 1.9358469127E+00),
       digits(fit.amplitude[1], -1.4646871366E+00), digits(fit.rate[0], 1.2867534640E-02),
       digits(fit.rate[1], 2.2122699662E-02), digits(fit.rss, 5.4648946975E-05),
       digits(fit.constant_sd, 2.0723153551E-03), digits(fit.amplitude_sd[0], 2.2031669222E-01),
       digits(fit.amplitude_sd[1], 2.2175707739E-01), digits(fit.rate_sd[0], 4.4861358114E-04),
       digits(fit.rate_sd[1], 8.9471996575E-04), digits(fit.sigma, 1.3970497866E-03)});
  MESSAGE("MGH17: fewest digits ", fewest);
  CHECK(fewest >= 6);
}

TEST_CASE("NIST Lanczos3: three exponentials") {
  const auto y = nist_y("Lanczos3.dat");
  REQUIRE(y.size() == 24);
  const auto fit = fit_exponentials(y, 0.05, 3, false);
  REQUIRE(fit.status == Status::ok);
  const double fewest = std::min(
      {digits(fit.amplitude[0], 8.6816414977E-02), digits(fit.rate[0], 9.5498101505E-01),
       digits(fit.amplitude[1], 8.4400777463E-01), digits(fit.rate[1], 2.9515951832E+00),
       digits(fit.amplitude[2], 1.5825685901E+00), digits(fit.rate[2], 4.9863565084E+00),
       digits(fit.rss, 1.6117193594E-08), digits(fit.rate_sd[0], 9.7041624475E-02),
       digits(fit.amplitude_sd[0], 1.7197908859E-02), digits(fit.rate_sd[2], 3.4436403035E-02)});
  MESSAGE("Lanczos3: fewest digits ", fewest);
  CHECK(fewest >= 6);
}

TEST_CASE("block moments give the sums of the samples themselves") {
  const auto y = noisy({1, {-0.7, 0.2}, {400, 90}}, 5003, 0.01, 3);
  const BlockMoments blocks(y);
  for (const double k : {1e-4, 1e-3, 5e-3}) {
    const auto a = blocks.sums(k), b = decay_sums(y, k);
    CHECK(std::abs(a.e / b.e - 1) < 3 * blocks.truncation(k) + 1e-12);
    CHECK(std::abs(a.d / b.d - 1) < 3 * blocks.truncation(k) + 1e-12);
  }
}

TEST_CASE("many samples: exact on exact data, whatever the rate") {
  for (const double tau : {3.0, 30.0, 300.0, 900.0}) {
    CAPTURE(tau);
    const auto y = noisy({2, {-1.5}, {tau}}, 2000, 0, 1);
    const auto fit = fit_exponentials(y, 1e-5, 1);
    REQUIRE(fit.status == Status::ok);
    CHECK(fit.rate[0] * 1e-5 * tau == doctest::Approx(1).epsilon(1e-8));
    CHECK(fit.amplitude[0] == doctest::Approx(-1.5).epsilon(1e-8));
    CHECK(fit.constant == doctest::Approx(2).epsilon(1e-8));
  }
  const auto y = noisy({2, {-1.2, 0.4}, {500, 60}}, 3000, 0, 1);
  const auto fit = fit_exponentials(y, 1, 2);
  REQUIRE(fit.status == Status::ok);
  CHECK(1 / fit.rate[0] == doctest::Approx(500).epsilon(1e-6));
  CHECK(1 / fit.rate[1] == doctest::Approx(60).epsilon(1e-6));
}

// The spread over 1,000 seeds is what rate_sd and the others claim: no wrong
// minimum, and blocks as good as the samples. Variances of 1,000 draws are known
// to 4.5 % (k = 1), so 15 % is beyond three.
TEST_CASE("standard deviations are true over a thousand noisy fits") {
  struct Case {
    Truth truth;
    std::size_t n;
  };
  for (const Case& c : {Case{{1, {-0.87}, {440}}, 2000}, Case{{1, {-0.7, -0.2}, {440, 50}}, 2000},
                        Case{{1, {-0.87}, {60}}, 240}}) {
    const std::size_t terms = c.truth.tau.size();
    double sum = 0, square = 0, claimed = 0;
    for (std::uint32_t seed = 1; seed <= 1000; ++seed) {
      const auto fit = fit_exponentials(noisy(c.truth, c.n, 0.005, seed), 1, terms);
      REQUIRE(fit.status == Status::ok);
      const double error = fit.rate[terms - 1] * c.truth.tau[terms - 1] - 1;
      sum += error, square += error * error;
      claimed += std::pow(fit.rate_sd[terms - 1] * c.truth.tau[terms - 1], 2);
    }
    MESSAGE("rate of ", terms, " exponential(s), ", c.n, " samples: variance over claimed ",
            square / claimed, ", mean error over its own u ", sum / std::sqrt(square));
    CHECK(square / claimed == doctest::Approx(1).epsilon(0.15));
    CHECK(std::abs(sum) < 4 * std::sqrt(square));
  }
}

TEST_CASE("the number of exponentials comes from the evidence") {
  int right = 0;
  for (std::uint32_t seed = 1; seed <= 100; ++seed) {
    right += exponentials_in_evidence(noisy({1, {}, {}}, 1500, 0.01, seed), 1) == 0;
    right += exponentials_in_evidence(noisy({1, {-0.8}, {300}}, 1500, 0.01, seed), 1) == 1;
    right +=
        exponentials_in_evidence(noisy({1, {-0.6, -0.3}, {300, 40}}, 1500, 0.01, seed), 1) == 2;
  }
  MESSAGE("right order in ", right, " of 300");
  CHECK(right >= 297);
}

TEST_CASE("what holds no exponential is refused") {
  CHECK(fit_exponentials(std::vector<double>(4, 1.0), 1, 1).status == Status::too_few_samples);
  CHECK(fit_exponentials(std::vector<double>(1000, 3.0), 1, 1).status == Status::no_minimum);
  std::vector<double> line(1000);
  for (std::size_t t = 0; t < line.size(); ++t) line[t] = static_cast<double>(t);
  CHECK(fit_exponentials(line, 1, 1).status == Status::no_minimum);
}
