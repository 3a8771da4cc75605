// A file descriptor that is waited for with a deadline and a stop token. The
// one waiting primitive under every link that has a descriptor.
#pragma once

#include <chrono>
#include <functional>
#include <optional>
#include <stop_token>

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

/// Turns a stop request, which comes on any thread, into a readable descriptor.
/// A link keeps one between exchanges, since making one costs as much as an
/// exchange on a loopback socket.
class StopEar {
 public:
  StopEar() = default;
  StopEar(const StopEar&) = delete;
  StopEar& operator=(const StopEar&) = delete;
  /// From now on hears this token only.
  void listen(const std::stop_token& token);
  /// -1 where the token can never stop.
  int fd() const { return callback_ ? event_.get() : -1; }

 private:
  Descriptor event_;
  std::stop_token token_;
  std::optional<std::stop_callback<std::function<void()>>> callback_;
};

/// When the exchange must be over. One per exchange.
class Deadline {
 public:
  /// `ear` outlives the deadline.
  Deadline(const bench::Patience& patience, StopEar& ear);

  enum class Wake { ready, timeout, stopped };
  /// Waits until `fd` is readable or writable (`events` as for poll(2)), at most
  /// `at_most_s` and never beyond the deadline.
  Wake wait(int fd, short events, double at_most_s = 1e9);
  double limit_s() const { return limit_s_; }
  bool over() const { return Clock::now() >= at_; }

 private:
  Clock::time_point at_;
  double limit_s_;
  StopEar& ear_;
};

}  // namespace pinproof::link
