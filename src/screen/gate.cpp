#include "screen/gate.h"

#include <arpa/inet.h>

#include <algorithm>
#include <array>

#include "quantity/characters.h"
#include "quantity/url.h"
#include "screen/target.h"
#include "screen/wire.h"

namespace pinproof::screen {
namespace {

struct Address {
  bool literal = false;  // a name otherwise
  bool loopback = false;
};

// Decimal and with four parts only; what else some programs take for an address is none.
Address address_of(std::string_view host) {
  if (host.size() > 2 && host.front() == '[' && host.back() == ']') {
    in6_addr six{};
    if (::inet_pton(AF_INET6, std::string(host.substr(1, host.size() - 2)).c_str(), &six) != 1)
      return {};
    in6_addr loopback = IN6ADDR_LOOPBACK_INIT;
    return {true, std::equal(std::begin(six.s6_addr), std::end(six.s6_addr), loopback.s6_addr)};
  }
  in_addr four{};
  if (::inet_pton(AF_INET, std::string(host).c_str(), &four) != 1) return {};
  return {true, (ntohl(four.s_addr) >> 24) == 127};
}

// "[::1]:80" -> "[::1]" and "80".
std::pair<std::string_view, std::string_view> split_port(std::string_view host) {
  const std::size_t colon = host.rfind(':');
  const std::size_t bracket = host.rfind(']');
  if (colon == std::string_view::npos || (bracket != std::string_view::npos && bracket > colon))
    return {host, {}};
  return {host.substr(0, colon), host.substr(colon + 1)};
}

bool host_is_ours(const GateOptions& options, const Request& request) {
  const std::string header = lower(request.header("host"));
  const auto parts = split_port(header);
  const std::string_view host = parts.first, port = parts.second;
  const unsigned ours = options.port ? options.port : request.port;
  const bool bare = host.size() == header.size();  // without even a colon
  if (bare ? ours != 80 : port != std::to_string(ours)) return false;
  const Address address = address_of(host);
  if (address.literal) return address.loopback || !options.loopback;
  return host == "localhost" || std::any_of(options.names.begin(), options.names.end(),
                                            [&](const auto& name) { return lower(name) == host; });
}

// Old browsers do not say; they are left with what they may read, which is nothing.
bool another_site_asks(const Request& request) {
  const std::string site = request.header("sec-fetch-site");
  if (site.empty() || site == "same-origin" || site == "none") return false;
  return request.method == "POST" || request.header("sec-fetch-mode") != "navigate";
}

bool is_json(const Request& request) {
  std::string type = lower(request.header("content-type"));
  type.resize(std::min(type.find(';'), type.size()));
  while (!type.empty() && (type.back() == ' ' || type.back() == '\t')) type.pop_back();
  return type == "application/json";
}

// Neither can be sent from another site's page unless we allow it in answer to an OPTIONS, which
// we never do. So whoever sends one is no such page.
bool beyond_forms(const Request& request) {
  return is_json(request) || !request.header("x-pinproof-driver").empty();
}

bool post_is_ours(const Request& request) {
  const std::string origin = lower(request.header("origin"));
  const std::string site = request.header("sec-fetch-site");
  if (!origin.empty())
    return origin == "http://" + lower(request.header("host")) &&
           (site.empty() || site == "same-origin");
  return site.empty() ? beyond_forms(request) : site == "same-origin";
}

std::string cookie(const Request& request, std::string_view name) {
  const std::string all = request.header("cookie");
  std::string_view rest = all;
  while (!rest.empty()) {
    const std::size_t end = std::min(rest.find(';'), rest.size());
    std::string_view pair = rest.substr(0, end);
    rest.remove_prefix(std::min(end + 1, rest.size()));
    pair.remove_prefix(std::min(pair.find_first_not_of(' '), pair.size()));
    if (pair.size() > name.size() && pair.substr(0, name.size()) == name &&
        pair[name.size()] == '=')
      return std::string(pair.substr(name.size() + 1));
  }
  return {};
}

std::string without_key(const Request& request) {
  std::string out;
  for (std::size_t at = 0; at < request.path.size();) {
    const std::size_t end = std::min(request.path.find('/', at + 1), request.path.size());
    out += '/' + url_escaped(std::string_view(request.path).substr(at + 1, end - at - 1));
    at = end;
  }
  char mark = '?';
  for (const auto& [name, value] : request.query) {
    if (name == "key") continue;
    out += mark + url_escaped(name) + '=' + url_escaped(value);
    mark = '&';
  }
  return out;
}

Reply welcome(const Request& request, const std::string& key) {
  Reply reply;
  reply.status = 303;
  reply.type = "text/plain";
  reply.headers = {{"Location", without_key(request)},
                   {"Set-Cookie", "pinproof=" + key + "; HttpOnly; SameSite=Strict; Path=/"}};
  Gate::secure(reply, false);
  return reply;
}

Reply closed_door(const Request& request) {
  if (request.method == "POST")
    return refusal(403,
                   "This screen wants its key first: open it with the address that pinproof "
                   "printed when it started.");
  Reply reply;
  reply.status = 403;
  reply.type = "text/html; charset=utf-8";
  // The link is for those who came with the key from another site: the first request after that
  // does not carry the cookie yet.
  reply.body =
      "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>pinproof: key wanted</title>"
      "<h1>This screen wants its key</h1>"
      "<p>Open it with the whole address that pinproof printed when it started; it ends in "
      "<code>?key=…</code>. This browser then keeps the key.</p>"
      "<p>Just done that? <a href=\"/\">Go in</a>.</p></html>\n";
  Gate::secure(reply, false);
  return reply;
}

std::optional<Reply> ask_for_key(const GateOptions& options, const Request& request) {
  if (options.loopback) return std::nullopt;
  const auto right = [&options](std::string_view key) {
    return !options.key.empty() && same_secret(key, options.key);
  };
  if (request.method == "GET" && right(request.asked("key"))) return welcome(request, options.key);
  if (right(cookie(request, "pinproof"))) return std::nullopt;
  return closed_door(request);
}

}  // namespace

std::optional<Reply> Gate::refuse(const Request& request) const {
  const bool post = request.method == "POST";
  if (!post && request.method != "GET" && request.method != "HEAD") {
    Reply reply = refusal(405, "Only GET, HEAD and POST are answered here.");
    reply.headers.emplace_back("Allow", "GET, HEAD, POST");
    return reply;
  }
  if (!host_is_ours(options_, request))
    return refusal(403, "This is not the name or the address of this screen.");
  if (another_site_asks(request)) return refusal(403, "Another site's page may not ask for this.");
  if (auto reply = ask_for_key(options_, request)) return reply;
  if (!post) return std::nullopt;
  if (!post_is_ours(request)) return refusal(403, "Another site's page may not ask for this.");
  if (!is_json(request) && !(request.body.empty() && beyond_forms(request)))
    return refusal(415, "The body must be application/json.");
  return std::nullopt;
}

void Gate::secure(Reply& reply, bool page) {
  constexpr const char* kPage =
      "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
      "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
  constexpr const char* kOther =
      "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; "
      "base-uri 'none'; frame-ancestors 'none'";
  // The referrer stays in the house: the first address may hold the key.
  const std::array headers{std::pair{"Content-Security-Policy", page ? kPage : kOther},
                           std::pair{"X-Content-Type-Options", "nosniff"},
                           std::pair{"X-Frame-Options", "DENY"},
                           std::pair{"Referrer-Policy", "same-origin"},
                           std::pair{"Cross-Origin-Resource-Policy", "same-origin"},
                           std::pair{"Cache-Control", "no-store"}};
  for (const auto& [name, value] : headers) reply.headers.emplace_back(name, value);
}

}  // namespace pinproof::screen
