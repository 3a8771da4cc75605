// One connection of a browser, and what it asks of the server that holds them all. Without Asio and
// Beast, which take seconds to compile: they stand in http.cpp and connection.cpp alone.
#pragma once

#include <array>
#include <cstdint>
#include <memory>

#include "screen/http.h"

namespace boost::asio {
class any_io_executor;
template <typename Protocol, typename Executor>
class basic_stream_socket;
namespace ip {
class tcp;
}
}  // namespace boost::asio

namespace pinproof::screen {

using Socket = boost::asio::basic_stream_socket<boost::asio::ip::tcp, boost::asio::any_io_executor>;

class BrowserConnection;

/// The server as its connections see it. All but the workers' part happens on one thread.
class Host {
 public:
  Host(const ServerOptions& wanted, Feed& source) : options(wanted), feed(source) {}
  virtual ~Host() = default;
  Host(const Host&) = delete;
  Host& operator=(const Host&) = delete;

  /// Has the connection's request handled on a worker thread; its answer() is called then.
  virtual void hand_over(std::shared_ptr<BrowserConnection> connection, bool urgent) = 0;
  /// False: too many requests per second.
  virtual bool admit() = 0;
  /// The stream of a request begins, or ends.
  virtual void tell(const Request& request, bool begins) const = 0;
  /// The connection of this number is closed.
  virtual void forget(std::uint64_t id) = 0;

  ServerOptions options;
  Feed& feed;
  unsigned short port = 0;
  std::size_t streams = 0;        ///< that are open now
  std::array<char, 4096> junk{};  ///< where bytes go that nobody wants
};

class BrowserConnection {
 public:
  virtual ~BrowserConnection() = default;
  virtual void read() = 0;               ///< waits for a request; to be called once
  virtual void answer(Reply reply) = 0;  ///< the request that was handed over
  virtual void pump() = 0;               ///< sends a stream what is new of the feed
  virtual void tick() = 0;               ///< to be called about ten times a second: deadlines
  virtual void close() = 0;

  virtual const Request& request() const = 0;
  virtual bool reserve() const = 0;     ///< it may only say what is urgent
  virtual bool at_work() const = 0;     ///< a request of it is being handled or answered
  virtual bool expendable() const = 0;  ///< nobody loses anything when it is closed
};

/// `host` outlives it. `reserve`: it has been let in for what is urgent, and is refused otherwise.
std::shared_ptr<BrowserConnection> make_connection(Host& host, Socket socket, std::uint64_t id,
                                                   bool reserve);

}  // namespace pinproof::screen
