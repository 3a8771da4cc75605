// The few calls a USBTMC link makes into the kernel, so that a test can stand
// in for an instrument: there is no pseudo-device for this class.
#pragma once

#include <sys/types.h>

#include <memory>
#include <string>

#include "link/link.h"

namespace pinproof::link {

/// Each as the call of that name: -1 and errno on failure. Called on the link's
/// worker thread only.
class UsbtmcDevice {
 public:
  virtual ~UsbtmcDevice() = default;
  virtual bool open() = 0;  ///< exclusively
  virtual void close() noexcept = 0;
  virtual ssize_t write(const char* bytes, std::size_t count) = 0;
  virtual ssize_t read(char* to, std::size_t most) = 0;
  /// The last read ended a message. Where the driver cannot tell, a read shorter
  /// than was asked for did.
  virtual bool end_of_message(std::size_t got, std::size_t asked) = 0;
  virtual bool set_timeout_ms(unsigned ms) = 0;
  virtual bool clear() = 0;  ///< INITIATE_CLEAR of the USBTMC class
};

/// `clears`: after a failed exchange the instrument is told to clear itself.
std::unique_ptr<Link> make_usbtmc_link(std::string address, std::unique_ptr<UsbtmcDevice> device,
                                       bool clears);

}  // namespace pinproof::link
