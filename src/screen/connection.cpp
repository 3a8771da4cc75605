#include "screen/connection.h"

#include <netinet/tcp.h>
#include <sys/socket.h>

#include <algorithm>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <chrono>
#include <optional>

#include "screen/target.h"
#include "screen/wire.h"

namespace pinproof::screen {
namespace {

namespace asio = boost::asio;
namespace http = boost::beast::http;
using asio::ip::tcp;
using boost::system::error_code;
using Clock = std::chrono::steady_clock;

constexpr std::size_t kChunk = std::size_t{64} << 10;  // all that is queued for one reader
constexpr int kSendBuffer = 128 << 10;                 // and what the system may hold for him
constexpr double kReservePatience_s = 2;
constexpr double kLeaving_s = 1;
constexpr std::size_t kMostJunk = std::size_t{1} << 20;  // read from one who was sent away

Clock::time_point in(double seconds) {
  return Clock::now() +
         std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
}

class HttpConnection : public BrowserConnection,
                       public std::enable_shared_from_this<HttpConnection> {
 public:
  HttpConnection(Host& host, Socket socket, std::uint64_t id, bool reserve)
      : host_(host), socket_(std::move(socket)), id_(id), reserve_(reserve) {}

  void read() override;
  void answer(Reply reply) override;
  void pump() override;
  void tick() override;
  void close() override;

  const Request& request() const override { return request_; }
  bool reserve() const override { return reserve_; }
  bool at_work() const override {
    return phase_ == ConnectionPhase::handling || phase_ == ConnectionPhase::answering;
  }
  bool expendable() const override {
    return phase_ == ConnectionPhase::leaving ||
           (phase_ == ConnectionPhase::reading && served_ && !parser_->got_some());
  }

 private:
  enum class ConnectionPhase { reading, handling, answering, streaming, leaving, closed };

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
      if (self->phase_ != ConnectionPhase::closed) action(error, bytes);
    };
  }

  Host& host_;
  Socket socket_;
  std::uint64_t id_;
  bool reserve_, served_ = false, late_ = false, keep_ = false, head_ = false;
  ConnectionPhase phase_ = ConnectionPhase::reading;
  Clock::time_point deadline_ = Clock::time_point::max(), beat_at_{};
  boost::beast::flat_buffer buffer_{host_.options.most_header + 4096};
  std::optional<http::request_parser<http::string_body>> parser_;
  std::optional<Target> target_;
  Request request_;
  std::string out_;
  std::size_t sent_ = 0, junk_ = 0;
  Feed::ReaderPlace place_;
};

// ---- Reading a request

void HttpConnection::read() {
  phase_ = ConnectionPhase::reading;
  late_ = false;
  parser_.emplace();
  parser_->header_limit(static_cast<std::uint32_t>(host_.options.most_header));
  parser_->body_limit(host_.options.most_body);
  // One deadline for all of it: a byte now and then does not prolong it.
  deadline_ = in(reserve_ ? std::min(kReservePatience_s, host_.options.patience_s)
                          : host_.options.patience_s);
  http::async_read_header(socket_, buffer_, *parser_,
                          then([this](error_code error, std::size_t) { on_header(error); }));
}

// Where two servers could read two things, neither is done (RFC 9112, 3.2 and 6.3).
unsigned HttpConnection::objection() {
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

void HttpConnection::on_header(error_code error) {
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

void HttpConnection::read_body() {
  http::async_read(socket_, buffer_, *parser_,
                   then([this](error_code error, std::size_t) { on_request(error); }));
}

void HttpConnection::on_request(error_code error) {
  if (error) return failed(error);
  take_request();
  const bool urgent = request_.method == "POST" && request_.path == host_.options.urgent;
  if (reserve_ && !urgent) return refuse(503);
  phase_ = ConnectionPhase::handling;
  deadline_ = Clock::time_point::max();
  if (urgent || host_.admit()) return host_.hand_over(shared_from_this(), urgent);
  Reply reply = refusal(429, "Too many requests; try again in a second.");
  reply.headers.emplace_back("Retry-After", "1");
  answer(std::move(reply));
}

void HttpConnection::take_request() {
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
  request_.port = host_.port;
}

void HttpConnection::failed(error_code error) {
  if (late_) return reserve_ ? refuse(503) : parser_->got_some() ? refuse(408) : close();
  if (error == http::error::header_limit || error == http::error::buffer_overflow)
    return refuse(431);
  if (error == http::error::body_limit) return refuse(413);
  const bool malformed = error.category() == make_error_code(http::error::bad_method).category();
  if (malformed && error != http::error::end_of_stream) return refuse(400);
  close();
}

void HttpConnection::refuse(unsigned status) {
  keep_ = false;
  answer(refusal(status, reason(status)));
}

// ---- Answering

void HttpConnection::answer(Reply reply) {
  if (phase_ == ConnectionPhase::closed) return;
  served_ = true;
  if (reply.stream && host_.streams >= host_.options.most_streams)
    reply = refusal(503, "Too many screens watch already.");
  if (reply.stream) keep_ = false;
  if (reply.stream && !head_) return begin_stream(reply);
  phase_ = ConnectionPhase::answering;
  std::string out = head_of(reply, keep_);
  if (!head_) out += reply.body;
  send(std::move(out));
}

void HttpConnection::begin_stream(const Reply& reply) {
  phase_ = ConnectionPhase::streaming;
  ++host_.streams;
  place_ = Feed::after(request_.header("last-event-id"));
  beat_at_ = in(host_.options.heartbeat_s);
  error_code ignored;
  socket_.set_option(asio::socket_base::send_buffer_size(kSendBuffer), ignored);
#ifdef TCP_USER_TIMEOUT  // a reader whose computer is gone takes nothing, but fills no buffer
                         // either
  const auto limit = static_cast<unsigned>(host_.options.stalled_reader_s * 1000);
  ::setsockopt(socket_.native_handle(), IPPROTO_TCP, TCP_USER_TIMEOUT, &limit, sizeof limit);
#endif
  host_.tell(request_, true);
  send(head_of(reply, false) + "retry: 500\n\n");
  watch();
}

// Whoever hangs up is noticed at once; what he says meanwhile is nobody's business.
void HttpConnection::watch() {
  socket_.async_read_some(asio::buffer(host_.junk), then([this](error_code error, std::size_t n) {
                            junk_ += n;
                            error || junk_ > kMostJunk ? close() : watch();
                          }));
}

void HttpConnection::pump() {
  if (phase_ != ConnectionPhase::streaming || !out_.empty()) return;
  std::string out = host_.feed.take(place_, kChunk);
  if (Clock::now() >= beat_at_) {
    out += ": beat\nevent: beat\ndata: {}\n\n";
    beat_at_ = in(host_.options.heartbeat_s);
  }
  if (!out.empty()) send(std::move(out));
}

void HttpConnection::send(std::string out) {
  out_ = std::move(out);
  sent_ = 0;
  flush();
}

void HttpConnection::flush() {
  deadline_ = in(phase_ == ConnectionPhase::streaming ? host_.options.stalled_reader_s
                                                      : host_.options.patience_s);
  socket_.async_write_some(asio::buffer(out_) + sent_,
                           then([this](error_code error, std::size_t n) {
                             if (error) return close();
                             sent_ += n;
                             if (sent_ < out_.size()) return flush();
                             out_ = {};
                             deadline_ = Clock::time_point::max();
                             if (phase_ == ConnectionPhase::streaming) return pump();
                             keep_ ? read() : leave();
                           }));
}

// A socket closed with unread bytes would be reset, and the answer lost with it (RFC 9112, 9.6).
void HttpConnection::leave() {
  phase_ = ConnectionPhase::leaving;
  deadline_ = in(kLeaving_s);
  error_code ignored;
  socket_.shutdown(tcp::socket::shutdown_send, ignored);
  discard();
}

void HttpConnection::discard() {
  socket_.async_read_some(asio::buffer(host_.junk), then([this](error_code error, std::size_t n) {
                            junk_ += n;
                            error || junk_ > kMostJunk ? close() : discard();
                          }));
}

void HttpConnection::tick() {
  pump();
  if (phase_ == ConnectionPhase::closed || Clock::now() < deadline_) return;
  if (phase_ != ConnectionPhase::reading) return close();
  late_ = true;
  deadline_ = in(kLeaving_s);
  error_code ignored;
  socket_.cancel(ignored);
}

void HttpConnection::close() {
  if (phase_ == ConnectionPhase::closed) return;
  const bool streamed = phase_ == ConnectionPhase::streaming;
  phase_ = ConnectionPhase::closed;
  error_code ignored;
  socket_.close(ignored);
  if (streamed) {
    --host_.streams;
    host_.tell(request_, false);
  }
  host_.forget(id_);
}

}  // namespace

std::shared_ptr<BrowserConnection> make_connection(Host& host, Socket socket, std::uint64_t id,
                                                   bool reserve) {
  return std::make_shared<HttpConnection>(host, std::move(socket), id, reserve);
}

}  // namespace pinproof::screen
