// A pseudo-terminal that stands for a serial port with an instrument behind it.
#pragma once

#include <string>

namespace pinproof::simulated {

/// Owns both ends. The far end stays open here too, since reading the near end
/// fails while nobody has it open; and it is raw, or what is sent would echo.
class Pty {
 public:
  /// Throws Error(Fault::usage) where the system has none to give.
  Pty();
  Pty(Pty&& other) noexcept;
  Pty& operator=(Pty&&) = delete;
  ~Pty();

  /// The near end; the caller may dup(2) it.
  int near() const { return near_; }
  const std::string& path() const { return path_; }

 private:
  int near_ = -1;
  int far_ = -1;
  std::string path_;
};

}  // namespace pinproof::simulated
