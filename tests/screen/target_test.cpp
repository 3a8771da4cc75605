#include "screen/target.h"

#include <doctest/doctest.h>

#include <map>
#include <string>

#include "quantity/url.h"
#include "screen/wire.h"

using namespace pinproof::screen;

namespace {

std::string path_of(const char* raw) {
  const auto target = read_target(raw, "h:1");
  return target ? target->path : "refused";
}

}  // namespace

TEST_CASE("a reply cannot break its own head") {
  Reply reply;
  reply.headers = {{"Location", "/a\r\nSet-Cookie: x=y\r\n\r\nz"}};
  const std::string head = head_of(reply, true);
  CHECK(head.find("\r\nSet-Cookie") == std::string::npos);
  CHECK(head.find("\r\n\r\n") == head.size() - 4);
}

TEST_CASE("paths") {
  CHECK(path_of("/") == "/");
  CHECK(path_of("/a/b/") == "/a/b/");
  CHECK(path_of("/report/01J?x=y") == "/report/01J");
  CHECK(path_of("/%61%C3%BC") == "/aü");
  CHECK(path_of("/a+b") == "/a+b");
  CHECK(path_of("/..a/.b/c..") == "/..a/.b/c..");
  CHECK(path_of("http://h:1/a") == "/a");
  CHECK(path_of("http://h:1") == "/");
  for (const char* raw : {"",
                          "a",
                          "*",
                          "/..",
                          "/../etc",
                          "/a/..",
                          "/a/../b",
                          "/a/./b",
                          "/.",
                          "/%2e%2e/x",
                          "/%2E./x",
                          "/a%2f..%2fb",
                          "/a%2Fb",
                          "/a%5cb",
                          "/a\\b",
                          "/a%00",
                          "/a%0a",
                          "/a%7f",
                          "/a%",
                          "/a%2",
                          "/a%zz",
                          "/a%+1",
                          "/a%-1",
                          "/%C3",
                          "/%C3%28",
                          "/%C0%AE%C0%AE/",
                          "/%ED%A0%80",
                          "/%FF",
                          "/\xC3\xBC",
                          "/a#b",
                          "/a b",
                          "//",
                          "//elsewhere.example/",
                          "/a//b",
                          "http://elsewhere/a",
                          "http://h:12/a",
                          "https://h:1/a",
                          "/%E2%80%AE",
                          "/a\x01"}) {
    CAPTURE(raw);
    CHECK(path_of(raw) == "refused");
  }
}

TEST_CASE("queries") {
  // https://url.spec.whatwg.org/#urlencoded-parsing, but refusing what it would replace
  const auto target = read_target("/x?name=a+b%2Bc&empty=&bare&name=2&%C3%BC=%2F..&&=v", "");
  REQUIRE(target);
  CHECK(target->query ==
        std::map<std::string, std::string>{
            {"name", "a b+c"}, {"empty", ""}, {"bare", ""}, {"ü", "/.."}, {"", "v"}});
  for (const char* raw : {"/x?a=%", "/x?a=%0", "/x?a=%00", "/x?%00=a", "/x?a=%0d", "/x?a=\x7f",
                          "/x?a=%C3", "/x?a=\\", "/x?a=b c", "/x?a=%ED%A0%80", "/x?a#b"}) {
    CAPTURE(raw);
    CHECK(!read_target(raw, ""));
  }
  const std::string odd = "a/b?c&d=e%f+g#ü .~-_";
  const auto again = read_target("/x?k=" + pinproof::url_escaped(odd), "");
  REQUIRE(again);
  CHECK(again->query.at("k") == odd);
}
