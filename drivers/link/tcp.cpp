// A TCP socket as a raw byte link, the way bench instruments listen on one.
#include <fcntl.h>
#include <netdb.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "link/descriptor.h"
#include "link/link.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::link {
namespace {

using Wake = Deadline::Wake;

class TcpLink final : public Link {
 public:
  TcpLink(std::string address, std::string host, std::string port)
      : address_(std::move(address)), host_(std::move(host)), port_(std::move(port)) {}

  const std::string& address() const override { return address_; }
  void write(std::string_view message, const bench::Patience& patience) override;
  std::string read_line(std::size_t at_most, const bench::Patience& patience) override;
  std::string read_exactly(std::size_t count, const bench::Patience& patience) override;
  void close() noexcept override {
    socket_.reset();
    inbox_.clear();
  }

 private:
  void connect(Deadline& deadline);
  void await(Deadline& deadline, short events, std::string_view what);
  void receive(Deadline& deadline);
  std::string take(std::size_t count);
  [[noreturn]] void lose(Fault fault, const std::string& what);

  std::string address_, host_, port_;
  Descriptor socket_;
  std::string inbox_;  // received and not yet asked for
};

void TcpLink::lose(Fault fault, const std::string& what) {
  close();
  throw Error(fault, address_ + ": " + what);
}

void TcpLink::await(Deadline& deadline, short events, std::string_view what) {
  switch (deadline.wait(socket_.get(), events)) {
    case Wake::ready:
      return;
    case Wake::timeout:
      lose(Fault::timeout,
           std::string(what) + " within " + format_si(deadline.limit_s(), Unit::second, 3));
    case Wake::stopped:
      lose(Fault::aborted, "stopped");
  }
}

void TcpLink::connect(Deadline& deadline) {
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  if (const int error = ::getaddrinfo(host_.c_str(), port_.c_str(), &hints, &found); error != 0)
    lose(Fault::bench, std::string("cannot find the host: ") + ::gai_strerror(error));
  const std::unique_ptr<addrinfo, decltype(&::freeaddrinfo)> guard(found, &::freeaddrinfo);
  std::string why = "no address";
  for (const addrinfo* at = found; at; at = at->ai_next) {
    socket_ = Descriptor(
        ::socket(at->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, at->ai_protocol));
    if (!socket_.open()) continue;
    int error = ::connect(socket_.get(), at->ai_addr, at->ai_addrlen) == 0 ? 0 : errno;
    if (error == EINPROGRESS) {
      await(deadline, POLLOUT, "no connection");
      socklen_t size = sizeof error;
      ::getsockopt(socket_.get(), SOL_SOCKET, SO_ERROR, &error, &size);
    }
    if (error == 0) {
      const int on = 1;  // a command must not wait for the acknowledgement of the last one
      ::setsockopt(socket_.get(), IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
      return;
    }
    why = std::strerror(error);
  }
  lose(Fault::bench, "cannot connect: " + why);
}

void TcpLink::write(std::string_view message, const bench::Patience& patience) {
  if (patience.stopped()) lose(Fault::aborted, "stopped");
  Deadline deadline(patience);
  if (!socket_.open()) connect(deadline);
  while (!message.empty()) {
    const ssize_t sent = ::send(socket_.get(), message.data(), message.size(), MSG_NOSIGNAL);
    if (sent > 0) {
      message.remove_prefix(static_cast<std::size_t>(sent));
    } else if (errno == EAGAIN || errno == EWOULDBLOCK) {
      await(deadline, POLLOUT, "the instrument takes no more bytes");
    } else if (errno != EINTR) {
      lose(Fault::bench, std::string("link lost while writing: ") + std::strerror(errno));
    }
  }
}

void TcpLink::receive(Deadline& deadline) {
  std::array<char, 65536> chunk;  // not zeroed: read into at once
  while (true) {
    const ssize_t got = ::recv(socket_.get(), chunk.data(), chunk.size(), 0);
    if (got > 0) {
      inbox_.append(chunk.data(), static_cast<std::size_t>(got));
      return;
    }
    if (got == 0) lose(Fault::bench, "the instrument closed the link in mid-reply");
    if (errno == EAGAIN || errno == EWOULDBLOCK)
      await(deadline, POLLIN, "no reply");
    else if (errno != EINTR)
      lose(Fault::bench, std::string("link lost while reading: ") + std::strerror(errno));
  }
}

std::string TcpLink::take(std::size_t count) {
  std::string out = inbox_.substr(0, count);
  inbox_.erase(0, count);
  return out;
}

std::string TcpLink::read_line(std::size_t at_most, const bench::Patience& patience) {
  if (!socket_.open()) lose(Fault::bench, "nothing was asked on this link");
  Deadline deadline(patience);
  std::size_t searched = 0;
  while (true) {
    // Some instruments end with LF CR: the CR then leads the next reply.
    while (!inbox_.empty() && inbox_.front() == '\r') inbox_.erase(0, 1);
    const auto end = inbox_.find('\n', searched);
    if (end != std::string::npos) {
      std::string line = take(end + 1);
      line.pop_back();
      if (line.ends_with('\r')) line.pop_back();
      return line;
    }
    if (inbox_.size() > at_most)
      lose(Fault::bad_reply,
           "a reply of more than " + std::to_string(at_most) + " bytes without a line end");
    searched = inbox_.size();
    receive(deadline);
  }
}

std::string TcpLink::read_exactly(std::size_t count, const bench::Patience& patience) {
  if (!socket_.open()) lose(Fault::bench, "nothing was asked on this link");
  Deadline deadline(patience);
  while (inbox_.size() < count) receive(deadline);
  return take(count);
}

}  // namespace

std::unique_ptr<Link> open_link(const std::string& address) {
  constexpr std::string_view kScheme = "tcp://";
  const auto colon = address.rfind(':');
  const auto refuse = [&](const std::string& what) {
    throw Error(Fault::usage,
                "address \"" + address + "\": " + what + "; tcp://HOST:PORT is wanted");
  };
  if (!address.starts_with(kScheme)) refuse("unknown kind");
  if (colon == std::string::npos || colon < kScheme.size() + 1) refuse("no host or no port");
  const std::string port = address.substr(colon + 1);
  const auto number = parse_number(port);
  if (!number || *number < 1 || *number > 65535 || *number != std::floor(*number))
    refuse("port is not 1 to 65535");
  return std::make_unique<TcpLink>(address, address.substr(kScheme.size(), colon - kScheme.size()),
                                   port);
}

}  // namespace pinproof::link
