// Bytes to and from one instrument.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "bench/patience.h"

namespace pinproof::link {

/// One conversation with one instrument. Every call throws Error: timeout,
/// aborted, bench (link lost) or bad_reply (a reply longer than allowed); the
/// link is then closed, since a late reply would be taken for the answer to
/// the next question, and the next call opens a fresh one.
/// One thread at a time.
class Link {
 public:
  virtual ~Link() = default;
  virtual const std::string& address() const = 0;
  /// The whole message with its line end in one write.
  virtual void write(std::string_view message, const bench::Patience& patience) = 0;
  /// Up to and without the line end (LF, CR LF or LF CR). At most `at_most` bytes.
  virtual std::string read_line(std::size_t at_most, const bench::Patience& patience) = 0;
  /// Exactly `count` bytes.
  virtual std::string read_exactly(std::size_t count, const bench::Patience& patience) = 0;
  virtual void close() noexcept = 0;
};

/// "tcp://HOST:PORT". Connects at the first use. Throws Error(Fault::usage) for
/// an address that cannot be read.
std::unique_ptr<Link> open_link(const std::string& address);

}  // namespace pinproof::link
