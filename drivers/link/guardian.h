// A supply's link is owned by a process of its own, the guardian. The main
// program speaks through it. When the main program dies, however it dies, or does
// not end a pulse in time, the guardian switches the output off. When the guardian
// dies, the main program opens a link of its own to switch off, and energises
// nothing any more.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "link/link.h"

namespace pinproof::link {

/// How to switch off without knowing a dialect.
struct OffMessages {
  std::string off;    ///< bytes to send
  std::string query;  ///< bytes that ask for the state; "0" or "OFF" is wanted
};

/// `command` starts the guardian: a program and its arguments, with the socket as
/// its standard input. Throws Error(Fault::bench) when it cannot be started.
std::unique_ptr<Link> open_guarded(const std::string& address, const OffMessages& messages,
                                   const std::vector<std::string>& command);

/// The guardian itself: serves the socket on descriptor `socket` until the main
/// program is gone, then switches off. Returns its exit code.
int run_guardian(int socket);

}  // namespace pinproof::link
