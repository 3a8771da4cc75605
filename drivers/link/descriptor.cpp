#include "link/descriptor.h"

#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <functional>
#include <utility>

#include "quantity/error.h"

namespace pinproof::link {

Descriptor& Descriptor::operator=(Descriptor&& other) noexcept {
  if (this != &other) {
    reset();
    fd_ = other.release();
  }
  return *this;
}

int Descriptor::release() { return std::exchange(fd_, -1); }

void Descriptor::reset() noexcept {
  if (fd_ >= 0) ::close(fd_);
  fd_ = -1;
}

// Turns a stop request, which comes on any thread, into a readable descriptor.
struct Deadline::Ear {
  explicit Ear(const std::stop_token& stop)
      : event(::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK)), callback(stop, [this] { ring(); }) {}
  void ring() const {
    const std::uint64_t one = 1;
    // An eventfd of this size cannot be full, and no reader minds a lost ring of two.
    [[maybe_unused]] const auto written = ::write(event.get(), &one, sizeof one);
  }
  Descriptor event;
  std::stop_callback<std::function<void()>> callback;
};

Deadline::Deadline(const bench::Patience& patience)
    : at_(Clock::now() + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(
                             std::clamp(patience.limit().si(), 0.0, 1e6)))),
      limit_s_(patience.limit().si()),
      ear_(patience.stop().stop_possible() ? new Ear(patience.stop()) : nullptr) {}

Deadline::~Deadline() { delete ear_; }

Deadline::Wake Deadline::wait(int fd, short events) {
  std::array<pollfd, 2> watched{pollfd{fd, events, 0},
                                pollfd{ear_ ? ear_->event.get() : -1, POLLIN, 0}};
  while (true) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(at_ - Clock::now()).count();
    const int ready = ::poll(watched.data(), watched.size(),
                             static_cast<int>(std::clamp<long long>(left, 0, 1'000'000'000)));
    if (ready < 0 && errno == EINTR) continue;
    if (ready < 0) throw Error(Fault::bench, "poll failed");
    if (watched[1].revents != 0) return Wake::stopped;
    if (watched[0].revents != 0) return Wake::ready;
    if (left <= 0) return Wake::timeout;
  }
}

}  // namespace pinproof::link
