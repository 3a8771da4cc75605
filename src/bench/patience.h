// How long a step may take and who may stop it.
#pragma once

#include <stop_token>
#include <utility>

#include "quantity/quantity.h"

namespace pinproof::bench {

/// A class with a constructor, not an aggregate: g++ 12 destroys an aggregate temporary of a
/// co_await expression twice.
class Patience {
 public:
  Patience(Duration limit, std::stop_token stop) : limit_(limit), stop_(std::move(stop)) {}
  explicit Patience(Duration limit) : limit_(limit) {}

  Duration limit() const { return limit_; }
  const std::stop_token& stop() const { return stop_; }
  bool stopped() const { return stop_.stop_requested(); }
  /// The same stop token with more time: for slow readings.
  Patience with_limit(Duration limit) const { return {limit, stop_}; }

 private:
  Duration limit_;
  std::stop_token stop_;
};

/// Sleeps that long; throws Error(aborted) at once when stopped meanwhile.
void pause(Duration time, const Patience& patience);

}  // namespace pinproof::bench
