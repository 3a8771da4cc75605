// A TCP socket as a raw byte link, the way bench instruments listen on one.
#include <netdb.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>

#include <cerrno>
#include <cmath>
#include <cstring>

#include "link/address.h"
#include "link/stream.h"
#include "quantity/text.h"

namespace pinproof::link {
namespace {

constexpr std::string_view kWanted = "tcp://HOST:PORT";

class TcpLink final : public StreamLink {
 public:
  TcpLink(std::string address, std::string host, std::string port)
      : StreamLink(std::move(address)), host_(std::move(host)), port_(std::move(port)) {}

 private:
  Descriptor connect(Deadline& deadline) override;

  std::string host_, port_;
};

Descriptor TcpLink::connect(Deadline& deadline) {
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  if (const int error = ::getaddrinfo(host_.c_str(), port_.c_str(), &hints, &found); error != 0)
    lose(Fault::bench, std::string("cannot find the host: ") + ::gai_strerror(error));
  const std::unique_ptr<addrinfo, decltype(&::freeaddrinfo)> guard(found, &::freeaddrinfo);
  std::string why = "no address";
  for (const addrinfo* at = found; at; at = at->ai_next) {
    Descriptor socket(
        ::socket(at->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, at->ai_protocol));
    if (!socket.open()) continue;
    int error = ::connect(socket.get(), at->ai_addr, at->ai_addrlen) == 0 ? 0 : errno;
    if (error == EINPROGRESS) {
      await(socket.get(), deadline, POLLOUT, "no connection");
      socklen_t size = sizeof error;
      ::getsockopt(socket.get(), SOL_SOCKET, SO_ERROR, &error, &size);
    }
    if (error == 0) {
      const int on = 1;  // a command must not wait for the acknowledgement of the last one
      ::setsockopt(socket.get(), IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
      return socket;
    }
    why = std::strerror(error);
  }
  lose(Fault::bench, "cannot connect: " + why);
}

std::unique_ptr<Link> open_tcp(const std::string& address) {
  constexpr std::string_view kScheme = "tcp://";
  if (!address.starts_with(kScheme)) refuse_address(address, "no host", kWanted);
  const auto colon = address.rfind(':');
  if (colon < kScheme.size() + 1) refuse_address(address, "no host or no port", kWanted);
  const std::string port = address.substr(colon + 1);
  const auto number = parse_number(port);
  if (!number || *number < 1 || *number > 65535 || *number != std::floor(*number))
    refuse_address(address, "port is not 1 to 65535", kWanted);
  return std::make_unique<TcpLink>(address, address.substr(kScheme.size(), colon - kScheme.size()),
                                   port);
}

}  // namespace

const Scheme kTcp{.prefix = "tcp:", .wanted = kWanted, .open = open_tcp};

}  // namespace pinproof::link
