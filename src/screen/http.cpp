#include "screen/http.h"

#include <fcntl.h>

#include <algorithm>
#include <atomic>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <chrono>
#include <mutex>
#include <thread>

#include "quantity/error.h"
#include "screen/connection.h"
#include "screen/wire.h"

namespace pinproof::screen {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using Clock = std::chrono::steady_clock;

constexpr std::size_t kReserve = 16;  // connections kept for what is urgent
constexpr std::chrono::milliseconds kTick{100};

class Core : public Host {
 public:
  Core(const ServerOptions& options, Feed& feed, Server::Handler handler,
       std::function<void(const Request&, bool)> on_stream);
  ~Core() override;

  void hand_over(std::shared_ptr<BrowserConnection> connection, bool urgent) override;
  bool admit() override;
  void tell(const Request& request, bool begins) const override;
  void forget(std::uint64_t id) override { connections_.erase(id); }

 private:
  // Outlives the core in the hands of a thread that is just changing the feed.
  struct Bell {
    std::mutex mutex;
    Core* core = nullptr;
  };
  void listen();
  void accept();
  void settle(tcp::socket socket);
  bool make_room(bool& reserve);
  void tick();
  void wake();
  void each(void (BrowserConnection::*action)());
  Reply reply_to(const Request& request) const;

  Server::Handler handler_;
  std::function<void(const Request&, bool)> on_stream_;
  asio::io_context io_{1};
  asio::executor_work_guard<asio::io_context::executor_type> busy_{io_.get_executor()};
  tcp::acceptor acceptor_{io_};
  asio::steady_timer timer_{io_};
  std::map<std::uint64_t, std::shared_ptr<BrowserConnection>> connections_;  // oldest first
  std::uint64_t last_id_ = 0;
  bool accepting_ = false;
  double tokens_ = 0;
  Clock::time_point counted_ = Clock::now();
  std::atomic<bool> woken_ = false;
  std::shared_ptr<Bell> bell_ = std::make_shared<Bell>();
  asio::thread_pool workers_, urgent_{1};
  std::thread thread_;
};

Core::Core(const ServerOptions& wanted, Feed& source, Server::Handler handler,
           std::function<void(const Request&, bool)> on_stream)
    : Host(wanted, source),
      handler_(std::move(handler)),
      on_stream_(std::move(on_stream)),
      tokens_(2 * wanted.requests_per_s),
      workers_(std::max<std::size_t>(1, wanted.workers)) {
  listen();
  bell_->core = this;
  feed.on_change([bell = bell_] {
    const std::lock_guard lock(bell->mutex);
    if (bell->core) bell->core->wake();
  });
  accept();
  tick();
  thread_ = std::thread([this] {
    for (;;) try {
        io_.run();
        return;
      } catch (...) {  // out of memory: that connection's deadline clears it away
      }
  });
}

Core::~Core() {
  feed.on_change({});
  {
    const std::lock_guard lock(bell_->mutex);
    bell_->core = nullptr;
  }
  workers_.stop();
  urgent_.stop();
  asio::post(io_, [this] {
    error_code ignored;
    acceptor_.close(ignored);
    each(&BrowserConnection::close);
    timer_.cancel();
  });
  workers_.join();
  urgent_.join();
  busy_.reset();
  thread_.join();
}

// Asio leaves them to every program that is started; a connection ends for the browser only when
// its last holder lets go.
void keep_from_programs(int descriptor) { ::fcntl(descriptor, F_SETFD, FD_CLOEXEC); }

void Core::listen() {
  error_code error;
  const auto address = asio::ip::make_address(options.address, error);
  if (error) throw Error(Fault::usage, options.address + ": no IP address");
  const tcp::endpoint endpoint(address, options.port);
  acceptor_.open(endpoint.protocol(), error);
  if (!error) keep_from_programs(acceptor_.native_handle());
  if (!error) acceptor_.set_option(tcp::acceptor::reuse_address(true), error);
  if (!error) acceptor_.bind(endpoint, error);
  if (!error) acceptor_.listen(asio::socket_base::max_listen_connections, error);
  if (!error) port = acceptor_.local_endpoint(error).port();
  if (!error) return;
  const std::string what =
      "cannot listen on " + options.address + " port " + std::to_string(options.port) + ": ";
  if (error == asio::error::address_in_use) throw Error(Fault::usage, what + "the port is taken");
  throw Error(Fault::usage, what + error.message());
}

void Core::accept() {
  accepting_ = true;
  acceptor_.async_accept([this](error_code error, tcp::socket socket) {
    accepting_ = false;  // out of descriptors, say: the next tick tries again
    if (error) return;
    settle(std::move(socket));
    accept();
  });
}

void Core::settle(tcp::socket socket) {
  keep_from_programs(socket.native_handle());
  error_code ignored;
  socket.set_option(tcp::no_delay(true), ignored);
  bool reserve = false;
  if (!make_room(reserve)) return;
  const auto id = ++last_id_;
  const auto connection = make_connection(*this, std::move(socket), id, reserve);
  connections_.emplace(id, connection);
  connection->read();
}

// Who leaves makes room first. In the reserve the oldest does, so that a newcomer always has the
// time to say what is urgent.
bool Core::make_room(bool& reserve) {
  std::shared_ptr<BrowserConnection> idle, oldest;
  std::size_t reserves = 0;
  for (const auto& [id, connection] : connections_) {
    if (connection->reserve()) {
      ++reserves;
      if (!oldest && !connection->at_work()) oldest = connection;
    } else if (!idle && connection->expendable()) {
      idle = connection;
    }
  }
  if (connections_.size() - reserves < options.most_connections) return true;
  if (idle) {
    idle->close();
    return true;
  }
  reserve = true;
  if (reserves < kReserve) return true;
  if (oldest) oldest->close();
  return oldest != nullptr;
}

void Core::tick() {
  if (!acceptor_.is_open()) return;
  if (!accepting_) accept();
  each(&BrowserConnection::tick);
  timer_.expires_after(kTick);
  timer_.async_wait([this](error_code error) {
    if (!error) tick();
  });
}

// Any number of changes makes one round.
void Core::wake() {
  if (woken_.exchange(true)) return;
  asio::post(io_, [this] {
    woken_ = false;
    each(&BrowserConnection::pump);
  });
}

void Core::each(void (BrowserConnection::*action)()) {
  std::vector<std::shared_ptr<BrowserConnection>> all;  // they may leave meanwhile
  for (const auto& [id, connection] : connections_) all.push_back(connection);
  for (const auto& connection : all) ((*connection).*action)();
}

bool Core::admit() {
  const auto now = Clock::now();
  const double passed_s = std::chrono::duration<double>(now - counted_).count();
  counted_ = now;
  tokens_ = std::min(2 * options.requests_per_s, tokens_ + passed_s * options.requests_per_s);
  if (tokens_ < 1) return false;
  tokens_ -= 1;
  return true;
}

void Core::tell(const Request& request, bool begins) const {
  if (on_stream_) try {
      on_stream_(request, begins);
    } catch (...) {  // the listener's own affair; the others' streams go on
    }
}

void Core::hand_over(std::shared_ptr<BrowserConnection> connection, bool urgent) {
  asio::post(urgent ? urgent_ : workers_, [this, connection = std::move(connection)] {
    Reply reply = reply_to(connection->request());
    asio::post(io_, [connection, reply = std::move(reply)]() mutable {
      connection->answer(std::move(reply));
    });
  });
}

Reply Core::reply_to(const Request& request) const {
  try {
    return handler_(request);
  } catch (const std::exception& e) {
    return refusal(500, e.what());
  } catch (...) {
    return refusal(500, reason(500));
  }
}

}  // namespace

struct Server::State : Core {
  using Core::Core;
};

Server::Server(const ServerOptions& options, Feed& feed, Handler handler,
               std::function<void(const Request&, bool begins)> on_stream)
    : state_(std::make_unique<State>(options, feed, std::move(handler), std::move(on_stream))) {}

Server::~Server() = default;

unsigned short Server::port() const { return state_->port; }

}  // namespace pinproof::screen
