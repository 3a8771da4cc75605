// Exchanges with one SCPI instrument by its dialect.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "bench/patience.h"
#include "link/link.h"
#include "scpi/dialect.h"

namespace pinproof::scpi {

/// A number as the instrument sent it. SCPI-99 vol. 1, 7.2.1.4-5: magnitudes of
/// 9.9E37 are infinity, 9.91E37 is not a number; compared by magnitude.
struct Number {
  double value = 0;
  bool overload = false;
};

class Session {
 public:
  Session(std::string role, std::unique_ptr<link::Link> link, Dialect dialect);

  /// "meter tcp://...": for messages and records.
  const std::string& name() const { return name_; }
  const Dialect& dialect() const { return dialect_; }

  /// Sends the operations as one compound message with "*OPC?" at its end and
  /// waits for the 1; then the error queue must be empty.
  void command(const std::vector<std::string>& messages, const bench::Patience& patience);
  /// Convenience: one operation.
  void command(std::string_view operation, const Arguments& arguments,
               const bench::Patience& patience);

  /// An operation that completes only later (arming a sweep): no *OPC?, but the
  /// error queue must be empty after it.
  void start(std::string_view operation, const bench::Patience& patience);

  std::string ask(std::string_view operation, const Arguments& arguments,
                  const bench::Patience& patience);
  /// Throws Error(bad_reply) naming the instrument, the message and the reply.
  Number ask_number(std::string_view operation, const Arguments& arguments,
                    const bench::Patience& patience);
  /// An IEEE 488.2 definite-length block of 32-bit big-endian floats.
  std::vector<double> ask_floats(std::string_view operation, const Arguments& arguments,
                                 std::size_t at_most, const bench::Patience& patience);

  /// Clears the instrument's status and reads *IDN?. Refuses an empty one.
  std::string open(const bench::Patience& patience);
  void close() noexcept { link_->close(); }

 private:
  void expect_no_error(const std::string& message, const bench::Patience& patience);
  [[noreturn]] void refuse(const std::string& message, const std::string& reply,
                           const std::string& wanted);

  std::string name_;
  std::unique_ptr<link::Link> link_;
  Dialect dialect_;
};

}  // namespace pinproof::scpi
