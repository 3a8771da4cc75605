// Bytes to and from one instrument.
#pragma once

#include <memory>
#include <span>
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
  /// Throws away what has come and what comes until `quiet` passes in silence.
  virtual void discard(Duration quiet, const bench::Patience& patience) = 0;
  /// Bytes that were on their way when the link was closed can still come on the
  /// next one: a serial line has no connection that would end with it.
  virtual bool late_replies_survive() const = 0;
  virtual void close() noexcept = 0;
  /// Where a guardian owns this link: it switches off by itself once so much time
  /// has passed without another call of this. Zero: no limit. Elsewhere: nothing.
  virtual void guard(Duration limit) { (void)limit; }
  /// Waits that long, while an output is on; a guardian's end ends it.
  virtual void hold(Duration time, const bench::Patience& patience) {
    bench::pause(time, patience);
  }
};

/// One kind of address: its file ends in such a record, links.cpp lists them.
struct Scheme {
  std::string_view prefix;  ///< "tcp:"
  std::string_view wanted;  ///< for messages: "tcp://HOST:PORT"
  std::unique_ptr<Link> (*open)(const std::string& address);
};
extern const Scheme kTcp;
extern const Scheme kSerial;
extern const Scheme kUsbtmc;
extern const Scheme kCommand;
std::span<const Scheme* const> schemes();

/// Connects at the first use. Throws Error(Fault::usage) for an address that
/// cannot be read, with the kinds there are.
std::unique_ptr<Link> open_link(const std::string& address);

}  // namespace pinproof::link
