// A share of failures judged while its cases come, so that a campaign ends as soon as it knows: Wald's
// sequential probability ratio test (A. Wald, "Sequential Tests of Statistical Hypotheses", Annals of
// Mathematical Statistics 16 (1945), 117-186). Of a share `good` or less the test says "bad" in
// about `alpha` of all campaigns, of a share `bad` or more it says "good" in about `beta` of them:
// its power is 1 - beta at `bad`. Between the two it may say either.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdlib>

namespace pinproof::tests {

struct Shares {
  double good, bad;  ///< of failures: with which it is meant to pass, from which on to fail
  double alpha = 0.01, beta = 0.01;
};

class Sequential {
 public:
  enum class Says { not_yet, good, bad };

  explicit Sequential(const Shares& shares)
      : failure_(std::log(shares.bad / shares.good)),
        success_(std::log((1 - shares.bad) / (1 - shares.good))),
        good_at_(std::log(shares.beta / (1 - shares.alpha))),
        bad_at_(std::log((1 - shares.beta) / shares.alpha)) {}

  void add(bool failed) {
    if (says() != Says::not_yet) return;  // the first word counts
    ++cases_, failures_ += failed;
    ratio_ += failed ? failure_ : success_;
  }
  Says says() const {
    return ratio_ <= good_at_ ? Says::good : ratio_ >= bad_at_ ? Says::bad : Says::not_yet;
  }
  std::size_t cases() const { return cases_; }
  std::size_t failures() const { return failures_; }

 private:
  double failure_, success_, good_at_, bad_at_;
  double ratio_ = 0;  // logarithm of the likelihood ratio, bad to good
  std::size_t cases_ = 0, failures_ = 0;
};

/// Of "none in n": the smallest share that shows at least once with this probability.
inline double noticed_share(std::size_t n, double power = 0.95) {
  return 1 - std::pow(1 - power, 1 / static_cast<double>(n));
}

/// The long form runs all cases: PINPROOF_TEST_LONG=1.
inline bool long_form() { return std::getenv("PINPROOF_TEST_LONG") != nullptr; }

}  // namespace pinproof::tests
