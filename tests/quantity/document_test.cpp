#include "quantity/document.h"

#include <doctest/doctest.h>

#include <cstdio>

#include "quantity/error.h"
#include "quantity/file.h"

using namespace pinproof;

// Source: FIPS 180-4 examples, SHA-256 of "abc" and of the empty text.
TEST_CASE("SHA-256") {
  CHECK(sha256_hex("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256_hex("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST_CASE("a file is written whole or not at all") {
  const std::string path = "/tmp/pinproof-test-write";
  write_file(path, "first");
  CHECK(read_file(path, 100) == "first");
  write_file(path, "second");
  CHECK(read_file(path, 100) == "second");
  CHECK_THROWS_WITH_AS((void)read_file(path, 3), doctest::Contains("larger than the 3 bytes"),
                       Error);
  std::remove(path.c_str());
  CHECK_THROWS_AS(write_file("/nowhere/at/all", "x"), Error);
  CHECK_THROWS_WITH_AS((void)read_file("/tmp", 100), doctest::Contains("is a folder"), Error);
}

TEST_CASE("keys that nobody asked for are refused with the known ones") {
  const auto document = Document::parse(R"({"a": 1, "b": {"c/d": 2}})", "f.json");
  Place root = document.root();
  CHECK(root.number("a", {0, 5}) == 1);
  CHECK_THROWS_WITH_AS(root.done(), "f.json: /b: unknown key; known here are a", Error);
  Place b = root.at("b");
  CHECK_THROWS_WITH_AS(b.done(), doctest::Contains("/b/c~1d"), Error);
}

TEST_CASE("ranges, types and pointers") {
  const auto document = Document::parse(R"({"a": 7, "t": "x", "list": [1, 2, "three"]})", "f.json");
  Place root = document.root();
  CHECK_THROWS_WITH_AS((void)root.number("a", {0, 5}), "f.json: /a: found 7; allowed is 0 to 5",
                       Error);
  CHECK_THROWS_WITH_AS((void)root.number("t", {0, 5}),
                       doctest::Contains("/t: found \"x\"; a number from 0 to 5"), Error);
  CHECK_THROWS_WITH_AS((void)root.text("nothing"), doctest::Contains("/nothing: missing"), Error);
  CHECK_THROWS_WITH_AS((void)root.at("list").numbers(),
                       doctest::Contains("entry 2 is not a number"), Error);
}
