// Serves a feed for http_test.py. Prints its port; ends with its standard input, and then prints
// how long the end took.
// Arguments: names and values of ServerOptions, "key" and a key, alternately.
#include <chrono>
#include <cstdlib>
#include <iostream>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <thread>

#include "screen/feed.h"
#include "screen/gate.h"
#include "screen/http.h"

using namespace pinproof::screen;
using nlohmann::json;

namespace {

using Clock = std::chrono::steady_clock;  // CLOCK_MONOTONIC, as Python's time.monotonic_ns()

std::size_t number(const Request& request, const std::string& name, std::size_t otherwise) {
  const std::string text = request.asked(name);
  return text.empty() ? otherwise : std::stoul(text);
}

Reply ok(const json& body) {
  Reply reply;
  reply.body = body.dump();
  return reply;
}

class Host {
 public:
  explicit Host(GateOptions gate) : gate_(std::move(gate)) {}

  Reply answer(const Request& request) {
    if (auto refused = gate_.refuse(request)) return *refused;
    Reply reply = request.method == "POST" ? post(request) : get(request);
    Gate::secure(reply, false);
    return reply;
  }
  void seen(bool begins) {
    watchers_ += begins ? 1 : -1;
    feed.set("state", json{{"watchers", watchers_}}.dump());
  }

  Feed feed;

 private:
  Reply post(const Request& request) {
    if (request.path == "/emit") return emit(request);
    if (request.path == "/begin") feed.begin({"progress"});
    if (request.path == "/echo") return echo(request);
    return ok({{"done", request.path}});
  }
  Reply get(const Request& request) {
    if (request.path == "/events") {
      Reply reply;
      reply.stream = true;
      return reply;
    }
    if (request.path == "/slow")
      std::this_thread::sleep_for(std::chrono::milliseconds(number(request, "ms", 100)));
    if (request.path == "/throw") throw std::runtime_error("thrown \"by the handler\" \xff");
    if (request.path == "/throw-odd") throw 7;
    Reply reply = echo(request);
    if (request.path == "/big") reply.body.assign(number(request, "bytes", 1000), 'x');
    return reply;
  }
  Reply echo(const Request& request) const {
    return ok({{"method", request.method},
               {"path", request.path},
               {"query", request.query},
               {"body", request.body}});
  }
  Reply emit(const Request& request) {
    const std::string padding(number(request, "bytes", 0), 'p');
    for (std::size_t left = number(request, "count", 1); left > 0; --left)
      feed.add("said",
               json{{"at_ns", Clock::now().time_since_epoch() / std::chrono::nanoseconds(1)},
                    {"padding", padding}}
                   .dump());
    return ok(json::object());
  }

  Gate gate_;
  int watchers_ = 0;
};

void set(ServerOptions& options, GateOptions& gate, const std::string& name, const char* value) {
  if (name == "address") options.address = value;
  if (name == "most_connections") options.most_connections = std::stoul(value);
  if (name == "most_streams") options.most_streams = std::stoul(value);
  if (name == "requests_per_s") options.requests_per_s = std::atof(value);
  if (name == "patience_s") options.patience_s = std::atof(value);
  if (name == "stalled_reader_s") options.stalled_reader_s = std::atof(value);
  if (name == "heartbeat_s") options.heartbeat_s = std::atof(value);
  if (name == "port") options.port = static_cast<unsigned short>(std::stoul(value));
  if (name == "key") gate = {.port = 0, .loopback = false, .names = {}, .key = value};
}

}  // namespace

int main(int argc, char** argv) try {
  ServerOptions options;
  GateOptions gate;
  for (int i = 1; i + 1 < argc; i += 2) set(options, gate, argv[i], argv[i + 1]);
  Host host(gate);
  auto server = std::make_unique<Server>(
      options, host.feed, [&host](const Request& request) { return host.answer(request); },
      [&host](const Request&, bool begins) { host.seen(begins); });
  std::cout << server->port() << std::endl;
  std::string line;
  while (std::getline(std::cin, line)) {
  }
  const auto begin = Clock::now();
  server.reset();
  host.feed.add("said", "{}");  // nobody is told any more
  std::cout << (Clock::now() - begin) / std::chrono::milliseconds(1) << std::endl;
  return 0;
} catch (const std::exception& e) {
  std::cerr << e.what() << '\n';
  return 3;
}
