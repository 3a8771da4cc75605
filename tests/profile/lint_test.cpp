#include "paths.h"
#include "profile/lint.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "profile/edit.h"
#include "profile/load.h"

using namespace pinproof;
using nlohmann::json;

namespace {

std::vector<profile::Remark> lint_after(auto&& edit) {
  json profile = tests::six_speed_json();
  edit(profile);
  return profile::lint(profile::parse_profile(profile.dump(), "pack.json"));
}

bool says(const std::vector<profile::Remark>& remarks, const std::string& words) {
  return std::any_of(remarks.begin(), remarks.end(),
                     [&](const auto& r) { return r.text.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("the project's own profiles are clean") {
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"}) {
    const auto remarks = profile::lint(
        profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json"));
    for (const auto& r : remarks) MESSAGE(name, ": ", r.pointer, ": ", r.text);
    CHECK(remarks.empty());
  }
}

TEST_CASE("code tables that invite a mistake") {
  SUBCASE("two positions share a code") {
    CHECK(says(lint_after([](json& p) { p["lever"]["positions"][1]["code"] = "11110"; }),
               "share a code"));
  }
  SUBCASE("an unplugged harness would read park") {
    CHECK(says(lint_after([](json& p) { p["lever"]["positions"][0]["code"] = "11111"; }),
               "unplugged"));
  }
  SUBCASE("a line that never changes") {
    CHECK(says(lint_after([](json& p) {
                 for (auto& position : p["lever"]["positions"]) {
                   std::string code = position["code"];
                   code[0] = '1';
                   position["code"] = code;
                 }
               }),
               "never changes"));
  }
}

TEST_CASE("gear table against the switches") {
  CHECK(says(lint_after([](json& p) { p["gears"][3]["closed_switches"] = json::array(); }),
             "the table says otherwise"));
}

TEST_CASE("numbers without a source") {
  CHECK(says(lint_after([](json& p) { p["sources"] = json::array(); }), "source"));
}

TEST_CASE("a closed contact that cannot be told from an open one") {
  CHECK(says(lint_after([](json& p) { p["open_ohm"] = 1000; }), "cannot be told apart"));
}
