#include "screen/gate.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <set>
#include <string>

#include "screen/wire.h"

using namespace pinproof::screen;

namespace {

const GateOptions kLocal{.port = 8080, .loopback = true, .names = {}, .key = ""};
const GateOptions kOpen{.port = 8080, .loopback = false, .names = {"Bench-3"}, .key = "secret"};

Request get(const std::string& host, const std::string& path = "/") {
  Request request;
  request.method = "GET";
  request.path = path;
  request.headers["host"] = host;
  return request;
}

Request post(std::map<std::string, std::string> headers, const std::string& body = "{}") {
  Request request = get("127.0.0.1:8080", "/start");
  request.method = "POST";
  request.body = body;
  request.headers.merge(headers);
  return request;
}

unsigned status(const GateOptions& options, const Request& request) {
  const auto reply = Gate(options).refuse(request);
  return reply ? reply->status : 200;
}

std::string header(const Reply& reply, const std::string& name) {
  for (const auto& [key, value] : reply.headers)
    if (key == name) return value;
  return "";
}

Request with_cookie(const std::string& cookie) {
  Request request = get("192.168.7.20:8080");
  request.headers["cookie"] = cookie;
  return request;
}

}  // namespace

TEST_CASE("methods") {
  for (const char* method : {"OPTIONS", "PUT", "DELETE", "TRACE", "PATCH", "get", ""}) {
    Request request = get("127.0.0.1:8080");
    request.method = method;
    request.headers["origin"] = "http://elsewhere.example";
    const auto reply = Gate(kLocal).refuse(request);
    REQUIRE(reply);
    CHECK(reply->status == 405);
    CHECK(header(*reply, "Allow") == "GET, HEAD, POST");
    for (const auto& [name, value] : reply->headers)
      CHECK(lower(name).find("access-control") == std::string::npos);
  }
  Request head = get("127.0.0.1:8080");
  head.method = "HEAD";
  CHECK(status(kLocal, head) == 200);
}

TEST_CASE("hosts on loopback") {
  for (const char* host : {"127.0.0.1:8080", "127.9.8.7:8080", "localhost:8080", "LocalHost:8080",
                           "[::1]:8080", "[0:0:0:0:0:0:0:1]:8080"}) {
    CAPTURE(host);
    CHECK(status(kLocal, get(host)) == 200);
  }
  // Names that lead here by somebody else's name server, and what only some take for an address.
  for (const char* host : {"",
                           "elsewhere.example",
                           "elsewhere.example:8080",
                           "localhost",
                           "localhost:80",
                           "localhost:",
                           "localhost:08080",
                           "localhost:8080:8080",
                           "localhost.elsewhere.example:8080",
                           "127.0.0.1",
                           "127.0.0.1:8081",
                           "127.1:8080",
                           "2130706433:8080",
                           "0x7f.0.0.1:8080",
                           "0177.0.0.1:8080",
                           "127.0.0.1.:8080",
                           "192.168.7.20:8080",
                           "0.0.0.0:8080",
                           "[::2]:8080",
                           "[::1:8080",
                           "::1:8080",
                           "[::1]x:8080",
                           "[::1]8080",
                           "user@127.0.0.1:8080",
                           "127.0.0.1:8080/",
                           " 127.0.0.1:8080",
                           "bench-3:8080"}) {
    CAPTURE(host);
    CHECK(status(kLocal, get(host)) == 403);
  }
  GateOptions eighty = kLocal;
  eighty.port = 80;
  for (const char* host : {"127.0.0.1", "localhost", "[::1]", "localhost:80"})
    CHECK(status(eighty, get(host)) == 200);
  GateOptions any = kLocal;
  any.port = 0;
  Request request = get("localhost:4711");
  request.port = 4711;
  CHECK(status(any, request) == 200);
  request.port = 4712;
  CHECK(status(any, request) == 403);
}

TEST_CASE("hosts in the network") {
  for (const char* host :
       {"192.168.7.20:8080", "[fe80::1]:8080", "bench-3:8080", "BENCH-3:8080", "localhost:8080"}) {
    Request request = with_cookie("pinproof=secret");
    request.headers["host"] = host;
    CAPTURE(host);
    CHECK(status(kOpen, request) == 200);
  }
  for (const char* host : {"elsewhere.example:8080", "bench-4:8080", "bench-3.example:8080"}) {
    Request request = with_cookie("pinproof=secret");
    request.headers["host"] = host;
    CAPTURE(host);
    CHECK(status(kOpen, request) == 403);
  }
}

TEST_CASE("who may post") {
  const std::pair<const char*, const char*> json{"content-type", "application/json"};
  const std::string ours = "http://127.0.0.1:8080";
  CHECK(status(kLocal, post({json, {"origin", ours}})) == 200);
  CHECK(status(kLocal, post({json, {"origin", ours}, {"sec-fetch-site", "same-origin"}})) == 200);
  CHECK(status(kLocal, post({json, {"sec-fetch-site", "same-origin"}})) == 200);
  CHECK(status(kLocal, post({{"content-type", "application/json; charset=utf-8"},
                             {"origin", ours}})) == 200);
  CHECK(status(kLocal, post({json})) == 200);  // a command line
  for (const char* origin :
       {"null", "https://127.0.0.1:8080", "http://127.0.0.1", "http://127.0.0.1:8081",
        "http://localhost:8080", "http://127.0.0.1:8080/",
        "http://127.0.0.1:8080.elsewhere.example", "http://elsewhere.example"}) {
    CAPTURE(origin);
    CHECK(status(kLocal, post({json, {"origin", origin}})) == 403);
    CHECK(status(kLocal, post({json, {"origin", origin}, {"sec-fetch-site", "same-origin"}})) ==
          403);
  }
  // Values of https://w3c.github.io/webappsec-fetch-metadata/
  for (const char* site : {"cross-site", "same-site", "none", "odd"}) {
    CAPTURE(site);
    CHECK(status(kLocal, post({json, {"sec-fetch-site", site}})) == 403);
  }
  CHECK(status(kLocal, post({json, {"origin", ours}, {"sec-fetch-site", "cross-site"}})) == 403);
}

TEST_CASE("what may be posted") {
  const std::pair<const char*, const char*> ours{"origin", "http://127.0.0.1:8080"};
  // Types that a form or a script of another site can send unasked (Fetch standard, CORS-safelisted
  // request-header) are none of ours.
  for (const char* type : {"text/plain", "application/x-www-form-urlencoded", "multipart/form-data",
                           "application/jsonx", "text/plain; application/json", ""}) {
    CAPTURE(type);
    CHECK(status(kLocal, post({ours, {"content-type", type}})) == 415);
    CHECK(status(kLocal, post({{"content-type", type}})) == 403);
  }
  CHECK(status(kLocal, post({{"x-pinproof-driver", "t"}}, "")) == 200);
  CHECK(status(kLocal, post({{"x-pinproof-driver", "t"}}, "{}")) == 415);
  CHECK(status(kLocal, post({ours}, "")) == 415);
}

TEST_CASE("other sites' pages may lead here and no more") {
  Request request = get("127.0.0.1:8080", "/events");
  CHECK(status(kLocal, request) == 200);
  for (const char* site : {"cross-site", "same-site"}) {
    request.headers["sec-fetch-site"] = site;
    request.headers["sec-fetch-mode"] = "no-cors";
    CHECK(status(kLocal, request) == 403);
    request.headers["sec-fetch-mode"] = "navigate";
    CHECK(status(kLocal, request) == 200);
  }
}

TEST_CASE("the key") {
  SUBCASE("comes in once and goes on as a cookie") {
    Request request = get("192.168.7.20:8080", "/lot");
    request.query = {{"key", "secret"}, {"name", "a/b &ü"}};
    const auto reply = Gate(kOpen).refuse(request);
    REQUIRE(reply);
    CHECK(reply->status == 303);
    CHECK(header(*reply, "Location") == "/lot?name=a%2Fb%20%26%C3%BC");
    CHECK(header(*reply, "Set-Cookie") == "pinproof=secret; HttpOnly; SameSite=Strict; Path=/");
  }
  SUBCASE("is found among other cookies") {
    for (const char* cookie :
         {"pinproof=secret", "a=b; pinproof=secret", "a=b;pinproof=secret; c="})
      CHECK(status(kOpen, with_cookie(cookie)) == 200);
    for (const char* cookie :
         {"", "pinproof=", "pinproof=secre", "pinproof=secrets", "xpinproof=secret", "pinproof",
          "a=pinproof=secret", "PINPROOF=secret"}) {
      CAPTURE(cookie);
      CHECK(status(kOpen, with_cookie(cookie)) == 403);
    }
  }
  SUBCASE("a wrong one gets a page that says how to get in") {
    Request request = get("192.168.7.20:8080");
    request.query = {{"key", "guess"}};
    const auto reply = Gate(kOpen).refuse(request);
    REQUIRE(reply);
    CHECK(reply->status == 403);
    CHECK(reply->type == "text/html; charset=utf-8");
    CHECK(reply->body.find("?key=") != std::string::npos);
    CHECK(reply->body.find("secret") == std::string::npos);
    CHECK(header(*reply, "Set-Cookie").empty());
  }
  SUBCASE("does not come by POST") {
    Request request = post({{"content-type", "application/json"}});
    request.query = {{"key", "secret"}};
    CHECK(status(kOpen, request) == 403);
    request.headers["cookie"] = "pinproof=secret";
    CHECK(status(kOpen, request) == 200);
  }
  SUBCASE("where none was set nobody comes in") {
    GateOptions none = kOpen;
    none.key.clear();
    Request request = with_cookie("pinproof=");
    request.query = {{"key", ""}};
    CHECK(status(none, request) == 403);
  }
}

TEST_CASE("headers that every answer carries") {
  Reply page, other;
  Gate::secure(page, true);
  Gate::secure(other, false);
  CHECK(header(page, "Content-Security-Policy") ==
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
  CHECK(header(other, "Content-Security-Policy").find("script") == std::string::npos);
  CHECK(header(other, "X-Content-Type-Options") == "nosniff");
  CHECK(header(other, "Cache-Control") == "no-store");
}

TEST_CASE("the wheel") {
  Wheel wheel;
  CHECK(!wheel.holds(""));
  const auto first = wheel.take("aaaa", false, false, 100);
  REQUIRE(!first.token.empty());
  wheel.seen("aaaa", true, 100);
  CHECK(wheel.driver() == "aaaa");
  CHECK(wheel.holds(first.token));
  CHECK(!wheel.holds(first.token + "x"));
  CHECK(!wheel.holds(""));

  SUBCASE("is not given twice") {
    const auto other = wheel.take("bbbb", false, false, 1000);
    CHECK(other.token.empty());
    CHECK(other.driver == "aaaa");
    CHECK(wheel.holds(first.token));
  }
  SUBCASE("is the driver's already, by its token and not by its id") {
    CHECK(wheel.take("aaaa", false, true, 101, first.token).token == first.token);
    CHECK(wheel.take("aaaa", true, true, 101).token.empty());
    CHECK(wheel.take("aaaa", false, false, 101, "guess").token.empty());
  }
  SUBCASE("is taken over only where nothing runs") {
    CHECK(wheel.take("bbbb", true, true, 101).token.empty());
    const auto other = wheel.take("bbbb", true, false, 101);
    CHECK(wheel.holds(other.token));
    CHECK(!wheel.holds(first.token));
    CHECK(wheel.driver() == "bbbb");
  }
  SUBCASE("is free after its holder has been away for a while") {
    wheel.seen("aaaa", true, 101);  // a second stream, as while reconnecting
    wheel.seen("aaaa", false, 102);
    CHECK(wheel.take("bbbb", false, false, 1000).token.empty());
    wheel.seen("aaaa", false, 1000);
    CHECK(wheel.take("bbbb", false, false, 1000 + Wheel::kAway_s - 1).token.empty());
    SUBCASE("but not if it came back") {
      wheel.seen("aaaa", true, 1010);
      CHECK(wheel.take("bbbb", false, false, 1100).token.empty());
    }
    SUBCASE("even in a run") {
      CHECK(!wheel.take("bbbb", false, true, 1000 + Wheel::kAway_s).token.empty());
    }
    SUBCASE("at once for one who takes over") {
      CHECK(!wheel.take("bbbb", true, true, 1001).token.empty());
    }
  }
  SUBCASE("is given back by its holder alone") {
    wheel.release("guess");
    wheel.release("");
    CHECK(wheel.driver() == "aaaa");
    wheel.release(first.token);
    CHECK(wheel.driver().empty());
    CHECK(!wheel.holds(first.token));
    CHECK(!wheel.take("bbbb", false, false, 101).token.empty());
  }
  SUBCASE("a screen that watched before it took it counts as there") {
    wheel.release(first.token);
    wheel.seen("bbbb", true, 101);
    CHECK(!wheel.take("bbbb", false, false, 102).token.empty());
    CHECK(wheel.take("cccc", false, false, 500).token.empty());
  }
  SUBCASE("nobody drives without an id") { CHECK(Wheel().take("", true, false, 0).token.empty()); }
}

TEST_CASE("tokens") {
  std::set<std::string> all;
  for (int i = 0; i < 1000; ++i) {
    const std::string token = random_token();
    CHECK(token.size() == 32);
    CHECK(token.find_first_not_of("0123456789abcdef") == std::string::npos);
    all.insert(token);
  }
  CHECK(all.size() == 1000);
  CHECK(same_secret("abc", "abc"));
  CHECK(!same_secret("abc", "abd"));
  CHECK(!same_secret("abc", "abcabc"));
  CHECK(!same_secret("abcabc", "abc"));
  CHECK(!same_secret("abc", ""));
  CHECK(!same_secret("", "abc"));
}
