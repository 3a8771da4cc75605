// A link over descriptors that poll(2) can wait for: sockets, serial lines,
// pipes. What differs is how it is opened and what an end of file means.
#pragma once

#include <string>

#include "link/descriptor.h"
#include "link/link.h"
#include "quantity/error.h"

namespace pinproof::link {

class StreamLink : public Link {
 public:
  explicit StreamLink(std::string address) : address_(std::move(address)) {}

  const std::string& address() const override { return address_; }
  void write(std::string_view message, const bench::Patience& patience) override;
  std::string read_line(std::size_t at_most, const bench::Patience& patience) override;
  std::string read_exactly(std::size_t count, const bench::Patience& patience) override;
  void discard(Duration quiet, const bench::Patience& patience) override;
  bool late_replies_survive() const override { return false; }
  void close() noexcept override;

 protected:
  /// Opens the descriptor, non-blocking, or loses the link.
  virtual Descriptor connect(Deadline& deadline) = 0;
  /// What the far end's closing means, for the message.
  virtual std::string why_ended() { return "the instrument closed the link in mid-reply"; }
  /// An end of file that may only be a pause (serial lines).
  virtual bool ended() { return true; }
  virtual void closing() noexcept {}
  /// It sends without being asked, so reading may be the first thing done.
  virtual bool speaks_first() const { return false; }

  int fd() const { return descriptor_.get(); }
  void await(int fd, Deadline& deadline, short events, std::string_view what);
  [[noreturn]] void lose(Fault fault, const std::string& what);

 private:
  void ready(Deadline& deadline);
  void ready_to_read(Deadline& deadline);
  std::size_t receive(Deadline& deadline, char* to, std::size_t most);
  std::string take(std::size_t count);

  std::string address_;
  Descriptor descriptor_;
  StopEar ear_;
  std::string inbox_;  // received and not yet asked for
};

}  // namespace pinproof::link
