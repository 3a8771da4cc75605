// Exchanges with one SCPI instrument by its dialect.
#pragma once

#include <chrono>
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

/// After any failed exchange the link is closed, and the next exchange begins by
/// asking for the identity until the known one comes: on a line without
/// connections a late reply would otherwise answer the next question.
class Session {
 public:
  Session(std::string role, std::unique_ptr<link::Link> link, Dialect dialect);

  /// "meter tcp://...": for messages and records.
  const std::string& name() const { return name_; }
  const Dialect& dialect() const { return dialect_; }
  link::Link& link() { return *link_; }

  /// Sends the operations as one compound message with "*OPC?" at its end and
  /// waits for the 1 (as the dialect's `wire` says otherwise); then the error
  /// queue must be empty.
  void command(const std::vector<std::string>& messages, const bench::Patience& patience);
  /// Convenience: one operation.
  void command(std::string_view operation, const Arguments& arguments,
               const bench::Patience& patience);

  /// An operation that completes only later (arming a sweep, an output that stays
  /// on): no *OPC?, but the error queue must be empty after it.
  void start(std::string_view operation, const bench::Patience& patience);

  /// Sent at once, whatever state the conversation is in, and not waited for: to
  /// switch off. The conversation is then put in order by the next exchange.
  void send_now(const std::vector<std::string>& messages, const bench::Patience& patience);

  std::string ask(std::string_view operation, const Arguments& arguments,
                  const bench::Patience& patience);
  /// Throws Error(bad_reply) naming the instrument, the message and the reply.
  Number ask_number(std::string_view operation, const Arguments& arguments,
                    const bench::Patience& patience);
  /// An IEEE 488.2 definite-length block of at most so many bytes.
  std::string ask_block(std::string_view operation, const Arguments& arguments, std::size_t at_most,
                        const bench::Patience& patience);
  /// A block of 32-bit big-endian floats.
  std::vector<double> ask_floats(std::string_view operation, const Arguments& arguments,
                                 std::size_t at_most, const bench::Patience& patience);

  /// Clears the instrument's status and reads *IDN?. Refuses an identity that the
  /// dialect does not fit, with Error(usage).
  std::string open(const bench::Patience& patience);
  void close() noexcept;

 private:
  template <class Action>
  auto exchange(const std::string& message, const Action& action);
  void send(const std::string& message, const bench::Patience& patience);
  void await_complete(const bench::Patience& patience);
  void expect_no_error(const std::string& message, const bench::Patience& patience);
  void read_identity(const bench::Patience& patience);
  void put_in_order(const bench::Patience& patience);
  [[noreturn]] void refuse(const std::string& message, const std::string& reply,
                           const std::string& wanted);

  std::string name_;
  std::unique_ptr<link::Link> link_;
  Dialect dialect_;
  std::string identity_;
  bool in_order_ = true;
  std::chrono::steady_clock::time_point last_sent_{};
};

}  // namespace pinproof::scpi
