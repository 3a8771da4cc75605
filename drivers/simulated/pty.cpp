#include "simulated/pty.h"

#include <fcntl.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <utility>

#include "quantity/error.h"

namespace pinproof::simulated {

Pty::Pty() : near_(::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC)) {
  if (near_ < 0 || ::grantpt(near_) != 0 || ::unlockpt(near_) != 0)
    throw Error(Fault::usage, "no pseudo-terminal to be had");
  path_ = ::ptsname(near_);
  far_ = ::open(path_.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  termios raw{};
  if (far_ < 0 || ::tcgetattr(far_, &raw) != 0) throw Error(Fault::usage, "cannot open " + path_);
  ::cfmakeraw(&raw);
  ::tcsetattr(far_, TCSANOW, &raw);
}

Pty::Pty(Pty&& other) noexcept
    : near_(std::exchange(other.near_, -1)),
      far_(std::exchange(other.far_, -1)),
      path_(std::move(other.path_)) {}

Pty::~Pty() {
  if (near_ >= 0) ::close(near_);
  if (far_ >= 0) ::close(far_);
}

}  // namespace pinproof::simulated
