// A bar for long work: on a terminal with share, rate and time left; elsewhere silent.
#pragma once

#include <chrono>
#include <cstddef>
#include <optional>
#include <string>

#include "terminal/live_block.h"

namespace pinproof::terminal {

class Bar {
 public:
  /// "Records read"; without `total` it counts. Drawn only for what takes longer than a moment.
  Bar(const std::string& what, std::optional<std::size_t> total);
  void at(std::size_t done);

 private:
  std::string line(std::size_t done, std::size_t columns) const;

  std::string what_;
  std::optional<std::size_t> total_;
  std::chrono::steady_clock::time_point began_ = std::chrono::steady_clock::now();
  bool drawn_on_;
  Throttle throttle_{10};
  LiveBlock block_;  // gone with the bar
};

/// "[====>-----]" of exactly so many columns; nothing in fewer than 5.
std::string bar_of(std::size_t done, std::size_t of, std::size_t columns);
/// " 45 %", rounded down: 100 only at the end.
std::string share_text(std::size_t done, std::size_t of);
/// "12 s", "3 min", "2 h 5 min".
std::string duration_text(double seconds);

}  // namespace pinproof::terminal
