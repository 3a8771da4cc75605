// A small HTTP server for the live screen: answers requests on worker threads and streams a feed
// to any number of browsers. What may be asked is the handler's business, see gate.h.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "screen/feed.h"

namespace pinproof::screen {

struct Request {
  std::string method;  ///< "GET"; a HEAD comes as GET too, the server leaves the body off
  std::string path;    ///< decoded, without the query: "/report/01J..."
  std::map<std::string, std::string> query;    ///< decoded
  std::map<std::string, std::string> headers;  ///< names in lower case; of a repeated one the first
  std::string body;
  unsigned short port = 0;                            ///< of the server
  std::string header(const std::string& name) const;  ///< empty where there is none
  std::string asked(const std::string& name) const;   ///< of the query; empty where there is none
};

struct Reply {
  unsigned status = 200;
  std::string type = "application/json";
  std::string body;
  std::vector<std::pair<std::string, std::string>> headers;
  /// Instead of the body: the feed, for as long as both are there.
  bool stream = false;
};

struct ServerOptions {
  std::string address = "127.0.0.1";
  unsigned short port = 0;  ///< 0: a free one
  std::size_t most_header = 16 << 10;
  std::size_t most_body = 64 << 10;
  std::size_t most_connections = 160;
  std::size_t most_streams = 100;
  double requests_per_s = 100;   ///< over all, after a burst of twice as many; beyond: 429
  double patience_s = 15;        ///< for a request to arrive whole, and between requests
  double stalled_reader_s = 30;  ///< a reader who takes nothing for so long is let go
  double heartbeat_s = 10;  ///< a sign of life to each stream, as a comment and as `event: beat`
  std::size_t workers = 2;
  /// A POST there makes the bench safe: no limit of requests or connections and no busy worker
  /// keeps it waiting.
  std::string urgent = "/stop";
};

class Server {
 public:
  using Handler = std::function<Reply(const Request&)>;
  /// `feed` outlives it. `handler` is called on worker threads, several at once. `on_stream` is
  /// told when the stream of a request begins and ends, on the thread that serves all connections:
  /// it must be quick. Throws Error(usage) where the port is taken or the address is not one of
  /// this computer.
  Server(const ServerOptions& options, Feed& feed, Handler handler,
         std::function<void(const Request&, bool begins)> on_stream);
  ~Server();
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  unsigned short port() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace pinproof::screen
