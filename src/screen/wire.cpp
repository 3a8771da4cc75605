#include "screen/wire.h"

#include <algorithm>
#include <array>
#include <iterator>
#include <nlohmann/json.hpp>
#include <utility>

#include "screen/gate.h"

namespace pinproof::screen {

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

std::string_view reason(unsigned status) {
  constexpr std::array kReasons{std::pair{200U, "OK"},
                                std::pair{303U, "See Other"},
                                std::pair{400U, "Bad Request"},
                                std::pair{403U, "Forbidden"},
                                std::pair{404U, "Not Found"},
                                std::pair{405U, "Method Not Allowed"},
                                std::pair{408U, "Request Timeout"},
                                std::pair{409U, "Conflict"},
                                std::pair{411U, "Length Required"},
                                std::pair{413U, "Content Too Large"},
                                std::pair{415U, "Unsupported Media Type"},
                                std::pair{417U, "Expectation Failed"},
                                std::pair{429U, "Too Many Requests"},
                                std::pair{431U, "Request Header Fields Too Large"},
                                std::pair{500U, "Internal Server Error"},
                                std::pair{503U, "Service Unavailable"}};
  for (const auto& [known, words] : kReasons)
    if (known == status) return words;
  return {};
}

Reply refusal(unsigned status, std::string_view why) {
  Reply reply;
  reply.status = status;
  reply.body =
      nlohmann::json{{"error", why}}.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  Gate::secure(reply, false);
  return reply;
}

std::string head_of(const Reply& reply, bool keep) {
  std::string out = "HTTP/1.1 " + std::to_string(reply.status) + ' ';
  out += reason(reply.status);
  const auto add = [&out](std::string_view name, std::string_view value) {
    out.append("\r\n").append(name).append(": ");
    std::copy_if(value.begin(), value.end(), std::back_inserter(out),
                 [](char c) { return c != '\r' && c != '\n' && c != '\0'; });
  };
  add("Content-Type", reply.stream ? "text/event-stream" : reply.type);
  if (reply.stream)
    add("X-Accel-Buffering", "no");  // proxies that would wait for more
  else
    add("Content-Length", std::to_string(reply.body.size()));
  bool stored = !reply.stream;
  for (const auto& [name, value] : reply.headers) {
    add(name, value);
    if (lower(name) == "cache-control") stored = true;
  }
  if (!stored) add("Cache-Control", "no-store");
  add("Connection", keep ? "keep-alive" : "close");
  return out + "\r\n\r\n";
}

std::string Request::header(const std::string& name) const {
  const auto at = headers.find(name);
  return at == headers.end() ? std::string() : at->second;
}

std::string Request::asked(const std::string& name) const {
  const auto at = query.find(name);
  return at == query.end() ? std::string() : at->second;
}

}  // namespace pinproof::screen
