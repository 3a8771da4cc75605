#include "link/descriptor.h"

#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdint>
#include <utility>

#include "quantity/error.h"

namespace pinproof::link {
namespace {

Clock::duration duration_of(double seconds) {
  return std::chrono::duration_cast<Clock::duration>(
      std::chrono::duration<double>(std::clamp(seconds, 0.0, 1e6)));
}

}  // namespace

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

void StopEar::listen(const std::stop_token& token) {
  if (token == token_) return;
  callback_.reset();
  token_ = token;
  if (!token.stop_possible()) return;
  event_ = Descriptor(::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK));
  callback_.emplace(token, [fd = event_.get()] {
    const std::uint64_t one = 1;
    // An eventfd of this size cannot be full, and no reader minds a lost ring of two.
    [[maybe_unused]] const auto written = ::write(fd, &one, sizeof one);
  });
}

Deadline::Deadline(const bench::Patience& patience, StopEar& ear)
    : at_(Clock::now() + duration_of(patience.limit().si())),
      limit_s_(patience.limit().si()),
      ear_(ear) {
  ear_.listen(patience.stop());
}

Deadline::Wake Deadline::wait(int fd, short events, double at_most_s) {
  std::array<pollfd, 2> watched{pollfd{fd, events, 0}, pollfd{ear_.fd(), POLLIN, 0}};
  const nfds_t count = watched[1].fd >= 0 ? 2 : 1;
  const auto until = at_most_s < 1e6 ? std::min(at_, Clock::now() + duration_of(at_most_s)) : at_;
  while (true) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(until - Clock::now()).count();
    const int ready = ::poll(watched.data(), count,
                             static_cast<int>(std::clamp<long long>(left, 0, 1'000'000'000)));
    if (ready < 0 && errno == EINTR) continue;
    if (ready < 0) throw Error(Fault::bench, "poll failed");
    if (watched[1].revents != 0) return Wake::stopped;
    if (watched[0].revents != 0) return Wake::ready;
    if (left <= 0) return Wake::timeout;
  }
}

}  // namespace pinproof::link
