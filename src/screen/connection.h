// One connection, and the core that holds them all. A part of http.cpp, which alone includes it, so
// that Beast and Asio are compiled once and no one else sees them.
#pragma once

#include <netinet/tcp.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <chrono>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include "quantity/error.h"
#include "screen/http.h"
#include "screen/target.h"
#include "screen/wire.h"

namespace pinproof::screen {

namespace asio = boost::asio;
namespace http = boost::beast::http;
using asio::ip::tcp;
using boost::system::error_code;
using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

inline constexpr std::size_t kChunk = std::size_t{64} << 10;  // all that is queued for one reader
inline constexpr int kSendBuffer = 128 << 10;  // and what the system may hold for him
inline constexpr std::size_t kReserve = 16;    // connections kept for what is urgent
inline constexpr double kReservePatience_s = 2;
inline constexpr double kLeaving_s = 1;
inline constexpr std::size_t kMostJunk = std::size_t{1} << 20;  // read from one who was sent away
inline constexpr milliseconds kTick{100};

inline Clock::time_point in(double seconds) {
  return Clock::now() +
         std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
}

class Connection;

// All but the workers' part happens on one thread.
class Core {
 public:
  Core(const ServerOptions& options, Feed& feed, Server::Handler handler,
       std::function<void(const Request&, bool)> on_stream);
  ~Core();
  Core(const Core&) = delete;
  Core& operator=(const Core&) = delete;

  void hand_over(std::shared_ptr<Connection> connection, bool urgent);
  bool admit();  // by the rate of requests
  void tell(const Request& request, bool begins) const;
  void forget(std::uint64_t id) { connections_.erase(id); }

  ServerOptions options;
  Feed& feed;
  unsigned short port = 0;
  std::size_t streams = 0;
  std::array<char, 4096> junk{};  // where bytes go that nobody wants

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
  void each(void (Connection::*action)());
  Reply reply_to(const Request& request) const;

  Server::Handler handler_;
  std::function<void(const Request&, bool)> on_stream_;
  asio::io_context io_{1};
  asio::executor_work_guard<asio::io_context::executor_type> busy_{io_.get_executor()};
  tcp::acceptor acceptor_{io_};
  asio::steady_timer timer_{io_};
  std::map<std::uint64_t, std::shared_ptr<Connection>> connections_;  // oldest first
  std::uint64_t last_id_ = 0;
  bool accepting_ = false;
  double tokens_ = 0;
  Clock::time_point counted_ = Clock::now();
  std::atomic<bool> woken_ = false;
  std::shared_ptr<Bell> bell_ = std::make_shared<Bell>();
  asio::thread_pool workers_, urgent_{1};
  std::thread thread_;
};

class Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(Core& core, tcp::socket socket, std::uint64_t id, bool reserve)
      : core_(core), socket_(std::move(socket)), id_(id), reserve_(reserve) {}

  void read();
  void answer(Reply reply);
  void pump();  // what is new of the feed
  void tick();
  void close();

  const Request& request() const { return request_; }
  bool reserve() const { return reserve_; }
  bool at_work() const { return phase_ == Phase::handling || phase_ == Phase::answering; }
  // Nobody loses anything when it is closed.
  bool expendable() const {
    return phase_ == Phase::leaving ||
           (phase_ == Phase::reading && served_ && !parser_->got_some());
  }

 private:
  enum class Phase { reading, handling, answering, streaming, leaving, closed };

  unsigned objection();
  void on_header(error_code error);
  void read_body();
  void on_request(error_code error);
  void take_request();
  void failed(error_code error);
  void refuse(unsigned status);
  void begin_stream(const Reply& reply);
  void watch();
  void send(std::string out);
  void flush();
  void leave();
  void discard();
  // A handler that keeps this alive and is not called once it is closed.
  template <class Then>
  auto then(Then action) {
    return [self = shared_from_this(), action](error_code error, std::size_t bytes) {
      if (self->phase_ != Phase::closed) action(error, bytes);
    };
  }

  Core& core_;
  tcp::socket socket_;
  std::uint64_t id_;
  bool reserve_, served_ = false, late_ = false, keep_ = false, head_ = false;
  Phase phase_ = Phase::reading;
  Clock::time_point deadline_ = Clock::time_point::max(), beat_at_{};
  boost::beast::flat_buffer buffer_{core_.options.most_header + 4096};
  std::optional<http::request_parser<http::string_body>> parser_;
  std::optional<Target> target_;
  Request request_;
  std::string out_;
  std::size_t sent_ = 0, junk_ = 0;
  Feed::Place place_;
};

// ---- Reading a request

inline void Connection::read() {
  phase_ = Phase::reading;
  late_ = false;
  parser_.emplace();
  parser_->header_limit(static_cast<std::uint32_t>(core_.options.most_header));
  parser_->body_limit(core_.options.most_body);
  // One deadline for all of it: a byte now and then does not prolong it.
  deadline_ = in(reserve_ ? std::min(kReservePatience_s, core_.options.patience_s)
                          : core_.options.patience_s);
  http::async_read_header(socket_, buffer_, *parser_,
                          then([this](error_code error, std::size_t) { on_header(error); }));
}

// Where two servers could read two things, neither is done (RFC 9112, 3.2 and 6.3).
inline unsigned Connection::objection() {
  const auto& head = parser_->get();
  const auto hosts = head.count(http::field::host);
  if (hosts > 1 || (hosts == 0 && head.version() == 11)) return 400;
  const std::string_view length = head[http::field::content_length];
  if (head.count(http::field::content_length) > 1 ||
      length.find_first_not_of("0123456789") != std::string_view::npos)
    return 400;
  if (head.count(http::field::transfer_encoding) > 0)
    return head.count(http::field::content_length) > 0 || head.version() < 11 ? 400 : 411;
  target_ = read_target(head.target(), head[http::field::host]);
  if (!target_ && head.target() == "*" && head.method() == http::verb::options)
    target_.emplace(Target{"*", {}});  // about the server as such
  if (!target_) return 400;
  const std::string expected = lower(head[http::field::expect]);
  return expected.empty() || expected == "100-continue" ? 0 : 417;
}

inline void Connection::on_header(error_code error) {
  if (error) return failed(error);
  if (const unsigned status = objection()) return refuse(status);
  const auto& head = parser_->get();
  if (head.count(http::field::expect) == 0 || head.version() < 11 || parser_->is_done())
    return read_body();
  static constexpr std::string_view kGoOn = "HTTP/1.1 100 Continue\r\n\r\n";
  asio::async_write(socket_, asio::buffer(kGoOn), then([this](error_code failure, std::size_t) {
                      failure ? close() : read_body();
                    }));
}

inline void Connection::read_body() {
  http::async_read(socket_, buffer_, *parser_,
                   then([this](error_code error, std::size_t) { on_request(error); }));
}

inline void Connection::on_request(error_code error) {
  if (error) return failed(error);
  take_request();
  const bool urgent = request_.method == "POST" && request_.path == core_.options.urgent;
  if (reserve_ && !urgent) return refuse(503);
  phase_ = Phase::handling;
  deadline_ = Clock::time_point::max();
  if (urgent || core_.admit()) return core_.hand_over(shared_from_this(), urgent);
  Reply reply = refusal(429, "Too many requests; try again in a second.");
  reply.headers.emplace_back("Retry-After", "1");
  answer(std::move(reply));
}

inline void Connection::take_request() {
  auto message = parser_->release();
  keep_ = message.keep_alive() && !reserve_;
  head_ = message.method() == http::verb::head;
  request_ = {};
  request_.method = head_ ? "GET" : std::string(message.method_string());
  request_.path = std::move(target_->path);
  request_.query = std::move(target_->query);
  for (const auto& field : message)
    request_.headers.emplace(lower(field.name_string()), std::string(field.value()));
  request_.body = std::move(message.body());
  request_.port = core_.port;
}

inline void Connection::failed(error_code error) {
  if (late_) return reserve_ ? refuse(503) : parser_->got_some() ? refuse(408) : close();
  if (error == http::error::header_limit || error == http::error::buffer_overflow)
    return refuse(431);
  if (error == http::error::body_limit) return refuse(413);
  const bool malformed = error.category() == make_error_code(http::error::bad_method).category();
  malformed&& error != http::error::end_of_stream ? refuse(400) : close();
}

inline void Connection::refuse(unsigned status) {
  keep_ = false;
  answer(refusal(status, reason(status)));
}

// ---- Answering

inline void Connection::answer(Reply reply) {
  if (phase_ == Phase::closed) return;
  served_ = true;
  if (reply.stream && core_.streams >= core_.options.most_streams)
    reply = refusal(503, "Too many screens watch already.");
  if (reply.stream) keep_ = false;
  if (reply.stream && !head_) return begin_stream(reply);
  phase_ = Phase::answering;
  std::string out = head_of(reply, keep_);
  if (!head_) out += reply.body;
  send(std::move(out));
}

inline void Connection::begin_stream(const Reply& reply) {
  phase_ = Phase::streaming;
  ++core_.streams;
  place_ = Feed::after(request_.header("last-event-id"));
  beat_at_ = in(core_.options.heartbeat_s);
  error_code ignored;
  socket_.set_option(asio::socket_base::send_buffer_size(kSendBuffer), ignored);
#ifdef TCP_USER_TIMEOUT  // a reader whose computer is gone takes nothing, but fills no buffer
                         // either
  const auto limit = static_cast<unsigned>(core_.options.stalled_reader_s * 1000);
  ::setsockopt(socket_.native_handle(), IPPROTO_TCP, TCP_USER_TIMEOUT, &limit, sizeof limit);
#endif
  core_.tell(request_, true);
  send(head_of(reply, false) + "retry: 500\n\n");
  watch();
}

// Whoever hangs up is noticed at once; what he says meanwhile is nobody's business.
inline void Connection::watch() {
  socket_.async_read_some(asio::buffer(core_.junk), then([this](error_code error, std::size_t n) {
                            junk_ += n;
                            error || junk_ > kMostJunk ? close() : watch();
                          }));
}

inline void Connection::pump() {
  if (phase_ != Phase::streaming || !out_.empty()) return;
  std::string out = core_.feed.take(place_, kChunk);
  if (Clock::now() >= beat_at_) {
    out += ": beat\nevent: beat\ndata: {}\n\n";
    beat_at_ = in(core_.options.heartbeat_s);
  }
  if (!out.empty()) send(std::move(out));
}

inline void Connection::send(std::string out) {
  out_ = std::move(out);
  sent_ = 0;
  flush();
}

inline void Connection::flush() {
  deadline_ =
      in(phase_ == Phase::streaming ? core_.options.stalled_reader_s : core_.options.patience_s);
  socket_.async_write_some(asio::buffer(out_) + sent_,
                           then([this](error_code error, std::size_t n) {
                             if (error) return close();
                             sent_ += n;
                             if (sent_ < out_.size()) return flush();
                             out_ = {};
                             deadline_ = Clock::time_point::max();
                             if (phase_ == Phase::streaming) return pump();
                             keep_ ? read() : leave();
                           }));
}

// A socket closed with unread bytes would be reset, and the answer lost with it (RFC 9112, 9.6).
inline void Connection::leave() {
  phase_ = Phase::leaving;
  deadline_ = in(kLeaving_s);
  error_code ignored;
  socket_.shutdown(tcp::socket::shutdown_send, ignored);
  discard();
}

inline void Connection::discard() {
  socket_.async_read_some(asio::buffer(core_.junk), then([this](error_code error, std::size_t n) {
                            junk_ += n;
                            error || junk_ > kMostJunk ? close() : discard();
                          }));
}

inline void Connection::tick() {
  pump();
  if (phase_ == Phase::closed || Clock::now() < deadline_) return;
  if (phase_ != Phase::reading) return close();
  late_ = true;
  deadline_ = in(kLeaving_s);
  error_code ignored;
  socket_.cancel(ignored);
}

inline void Connection::close() {
  if (phase_ == Phase::closed) return;
  const bool streamed = phase_ == Phase::streaming;
  phase_ = Phase::closed;
  error_code ignored;
  socket_.close(ignored);
  if (streamed) {
    --core_.streams;
    core_.tell(request_, false);
  }
  core_.forget(id_);
}

}  // namespace pinproof::screen
