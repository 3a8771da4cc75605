// A file descriptor that is waited for with a deadline and a stop token. The
// one waiting primitive under every link that has a descriptor.
#pragma once

#include <chrono>
#include <cstddef>
#include <string>
#include <string_view>

#include "bench/patience.h"

namespace pinproof::link {

using Clock = std::chrono::steady_clock;

/// Owns a descriptor; closes it when it goes.
class Descriptor {
 public:
  Descriptor() = default;
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(other.release()) {}
  Descriptor& operator=(Descriptor&& other) noexcept;
  ~Descriptor() { reset(); }

  int get() const { return fd_; }
  bool open() const { return fd_ >= 0; }
  int release();
  void reset() noexcept;

 private:
  int fd_ = -1;
};

/// When the exchange must be over, and the ear for a stop. One per exchange.
class Deadline {
 public:
  explicit Deadline(const bench::Patience& patience);
  ~Deadline();
  Deadline(const Deadline&) = delete;
  Deadline& operator=(const Deadline&) = delete;

  enum class Wake { ready, timeout, stopped };
  /// Waits until `fd` is readable or writable (`events` as for poll(2)).
  Wake wait(int fd, short events);
  double limit_s() const { return limit_s_; }

 private:
  struct Ear;
  Clock::time_point at_;
  double limit_s_;
  Ear* ear_;  // owned; null when the token can never stop
};

}  // namespace pinproof::link
