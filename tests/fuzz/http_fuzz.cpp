// Requests as text: "POST /start", header lines, an empty line, the body; a line "==" and the next
// one. Beast's parser and the sockets are left out: what comes behind them is ours.
#include <nlohmann/json.hpp>
#include <set>

#include "quantity/url.h"
#include "screen/desk.h"
#include "screen/target.h"
#include "screen/wire.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

using screen::Reply;
using screen::Request;

constexpr int kMostRequests = 6;
constexpr unsigned short kPort = 8080;
constexpr const char* kKey = "0123456789abcdef";

// Does nothing, as long as it is asked to.
class NoWorks final : public screen::Works {
 public:
  void check(const screen::Wish& wish) override {
    if (wish.profile.empty()) throw Error(Fault::usage, "no such profile");
    if (wish.resume == "no" && wish.serial == "cut")
      throw screen::CutOffStart(Fault::usage, "cut off");
  }
  void run(const screen::Wish&, std::uint64_t, screen::Answers& answers,
           const std::stop_token& stop) override {
    (void)answers.get(answers.ask(), Duration{0}, stop);
  }
  std::string profile(const std::string& name) override {
    throw Error(Fault::usage, "no profile " + name);
  }
  std::optional<Reply> page(const Request& request) override {
    if (!request.path.starts_with("/report/")) return std::nullopt;
    Reply out;
    out.type = "text/html";
    out.body = request.asked("id");
    out.headers.emplace_back("Location", request.path);
    return out;
  }
};

// One request as the connection hands it on; nullopt where its target is none.
std::optional<Request> next_request(std::string_view& rest) {
  const std::string_view first = take_line(rest);
  const auto space = std::min(first.find(' '), first.size());
  Request out;
  out.method = first.substr(0, space);
  out.port = kPort;
  out.headers["host"] = "localhost:8080";
  for (std::string_view line = take_line(rest); !line.empty(); line = take_line(rest)) {
    const auto colon = std::min(line.find(':'), line.size());
    out.headers.insert_or_assign(screen::lower(line.substr(0, colon)),
                                 std::string(line.substr(std::min(colon + 1, line.size()))));
  }
  const auto end = std::min(rest.find("\n==\n"), rest.size());
  out.body = rest.substr(0, end);
  rest.remove_prefix(std::min(end + 4, rest.size()));
  const auto target =
      screen::read_target(first.substr(std::min(space + 1, first.size())), out.headers["host"]);
  if (!target) return std::nullopt;
  out.path = target->path, out.query = target->query;
  return out;
}

void expect_target(const Request& request) {
  const std::string& path = request.path;
  expect(path.starts_with('/'), "a path begins at the root", path);
  expect(path.find("//") == std::string::npos && path.find("/../") == std::string::npos &&
             !path.ends_with("/..") && path.find('\\') == std::string::npos,
         "a path does not climb", path);
  for (const char c : path)
    expect(static_cast<unsigned char>(c) >= 0x20 && c != 0x7f, "no controls in a path", path);
  std::string raw;
  for (std::size_t at = 0; at < path.size();) {
    const auto end = std::min(path.find('/', at + 1), path.size());
    raw += "/" + url_escaped(std::string_view(path).substr(at + 1, end - at - 1));
    at = end;
  }
  char mark = '?';
  for (const auto& [name, value] : request.query) {
    raw += mark + url_escaped(name) + "=" + url_escaped(value);
    mark = '&';
  }
  const auto again = screen::read_target(raw, "localhost:8080");
  expect(again && again->path == path && again->query == request.query, "escaped and read", raw);
}

void expect_reply(const Request& request, const Reply& reply) {
  expect(!screen::reason(reply.status).empty(), "a status that is known", request.path);
  const std::string head = screen::head_of(reply, true);
  expect(head.ends_with("\r\n\r\n") && head.find("\r\n\r\n") == head.size() - 4,
         "one head, one empty line", head);
  std::string_view rest = head;
  rest.remove_suffix(2);
  take_line(rest);
  std::set<std::string> names;
  while (!rest.empty()) {
    const std::string_view line = take_line(rest);
    expect(line.find(": ") != std::string_view::npos, "a header has a name", line);
    names.insert(screen::lower(line.substr(0, line.find(':'))));
  }
  expect(names.contains("x-content-type-options") && names.contains("content-security-policy"),
         "every answer is secured", head);
  if (reply.type == "application/json" && !reply.stream)
    expect(nlohmann::json::accept(reply.body), "JSON is JSON", reply.body);
}

// What must not be granted, whatever else the request says.
void expect_right(const Request& request, const Reply& reply) {
  if (reply.status != 200 || request.method != "POST") return;
  expect(request.path == "/drive" || request.path == "/stop" ||
             !request.header("x-pinproof-driver").empty(),
         "only the driver drives", request.path);
}

}  // namespace

void try_http(std::string_view input) {
  const unsigned open = take_byte(input);
  screen::GateOptions gate{0, (open & 1u) == 0, {"bench.local"}, kKey};
  screen::Feed feed;
  NoWorks works;
  screen::Desk desk({"0", false, true, {"p"}, {{"b", true, true}}, {}}, gate, feed, works);
  std::string token;
  for (int k = 0; k < kMostRequests && !input.empty(); ++k) {
    auto request = next_request(input);
    if (!request) continue;
    expect_target(*request);
    auto& driver = request->headers["x-pinproof-driver"];
    if (driver == "mine") driver = token;
    const Reply reply = desk.answer(*request);
    expect_reply(*request, reply);
    expect_right(*request, reply);
    const auto body = nlohmann::json::parse(reply.body, nullptr, false);
    if (request->path == "/drive" && reply.status == 200) token = body.at("driver");
    if (reply.stream) desk.on_stream(*request, true), desk.on_stream(*request, false);
    auto place = screen::Feed::after(request->header("last-event-id"));
    (void)feed.take(place, 4096);
  }
}

}  // namespace pinproof::fuzz
