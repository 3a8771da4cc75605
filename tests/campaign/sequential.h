// A share of failures judged while its cases come, so that a campaign ends as soon as it knows:
// Wald's sequential probability ratio test (A. Wald, "Sequential Tests of Statistical Hypotheses",
// Annals of Mathematical Statistics 16 (1945), 117-186).
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdlib>

namespace pinproof::tests {

/// Of a share of failures of `good` or less the test says "bad" in about `alpha` of all campaigns,
/// of `bad` or more it says "good" in about `beta` of them: its power there is 1 - beta. Between
/// the two it may say either. A fixed sample that passes with up to c failures of n is ended early
/// by the shares at which it passes with 99 % and with 1 %.
struct Shares {
  double good, bad;
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

  /// What comes after the test has spoken is counted, and changes nothing.
  void add(bool failed) {
    ++cases_, failures_ += failed;
    if (says_ != Says::not_yet) return;
    ratio_ += failed ? failure_ : success_;
    if (ratio_ <= good_at_) says_ = Says::good;
    if (ratio_ >= bad_at_) says_ = Says::bad;
  }
  Says says() const { return says_; }
  bool is_open() const { return says_ == Says::not_yet; }

  std::size_t cases() const { return cases_; }
  std::size_t failures() const { return failures_; }

 private:
  double failure_, success_, good_at_, bad_at_;
  double ratio_ = 0;  // logarithm of the likelihood ratio, bad to good
  Says says_ = Says::not_yet;
  std::size_t cases_ = 0, failures_ = 0;
};

/// What "none in n" proves: the smallest share that would have shown with this probability.
inline double noticed_share(std::size_t n, double power = 0.95) {
  return 1 - std::pow(1 - power, 1 / static_cast<double>(n));
}

/// PINPROOF_TEST_LONG=1: all cases, whatever is known after some of them.
inline bool long_form() { return std::getenv("PINPROOF_TEST_LONG") != nullptr; }

}  // namespace pinproof::tests
