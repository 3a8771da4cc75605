// What the page answers to what it was asked, handed from the server's threads to the run's.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>

#include "quantity/quantity.h"

namespace pinproof::screen {

struct Answer {
  std::uint64_t ask = 0;  ///< number of the request that was on the screen
  std::string key;        ///< "take", "again", "back", "skip", "skip_all", "text"
  std::string text;       ///< reason of a skip, or what was asked for
};

class Answers {
 public:
  /// Number of a new request; what was answered before does not answer it.
  std::uint64_t ask();
  void put(Answer answer);
  /// The newest answer to request `ask`; older requests' answers are dropped. nullopt after `wait`
  /// or when stopped.
  std::optional<Answer> get(std::uint64_t ask, Duration wait, const std::stop_token& stop);
  void forget();

 private:
  std::mutex mutex_;
  std::condition_variable_any wake_;
  std::optional<Answer> answer_;
  std::uint64_t asked_ = 0;
};

}  // namespace pinproof::screen
