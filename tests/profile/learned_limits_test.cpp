// A profile's text with learned limits in it: what changes, what stays, what is refused.
#include "profile/learned_limits.h"

#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "paths.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"

using namespace pinproof;
using profile::LimitChange;

namespace {

std::string four_speed() {
  return read_file(pinproof::tests::source_dir() + "/profiles/four-speed-13-pin.json", 1 << 20);
}

std::string changed(const std::vector<LimitChange>& changes) {
  return profile::with_limits(four_speed(), "p.json", changes);
}

void check_refused(const std::vector<LimitChange>& changes, const std::string& wanted) {
  try {
    changed(changes);
    FAIL("not refused: " << wanted);
  } catch (const Error& e) {
    CHECK(e.fault() == Fault::usage);
    CHECK_MESSAGE(std::string(e.what()).find(wanted) != std::string::npos, e.what());
  }
}

// Part 1 of the file is coil S1, which has no release_s; part 4 is PC, a variable one.
const std::string kOhm = "/parts/1/resistance_ohm", kRelease = "/parts/1/release_s";

}  // namespace

TEST_CASE("places for limits: all of an on-off coil, no plunger figures of a variable one") {
  const auto places = profile::limit_places(profile::parse_profile(four_speed(), "p.json"));
  CHECK(places.size() == 3 * 5 + 2);
  CHECK(places.front().pointer == kOhm);
  CHECK(places.front().present->low == 22.8);
  CHECK(places[3].pointer == kRelease);
  CHECK(!places[3].present);
  CHECK(places.back().pointer == "/parts/4/inductance_H");
}

TEST_CASE("wide limits are added where there are none, and those that are there stay") {
  const auto all = profile::with_all_limits(profile::parse_profile(four_speed(), "p.json"));
  CHECK(all.parts[1].coil()->release_s->high == 10);
  CHECK(all.parts[1].coil()->pull_in_s->high == 0.0051);
  CHECK(!all.parts[4].coil()->release_s);
}

TEST_CASE("a limit is replaced with its source; keys keep their order and all else its value") {
  const std::string text = changed({{kOhm, {23.1, 24.9}, "learned from 30 packs"}});
  auto before = nlohmann::ordered_json::parse(four_speed());
  const auto after = nlohmann::ordered_json::parse(text);
  CHECK(after["parts"][1]["resistance_ohm"].dump() ==
        R"({"low":23.1,"high":24.9,"at_celsius":20})");
  CHECK(after["sources"].size() == before["sources"].size() + 1);
  CHECK(after["sources"].back().dump() ==
        R"({"of":"/parts/1/resistance_ohm","text":"learned from 30 packs"})");
  before["parts"][1]["resistance_ohm"]["low"] = 23.1;
  before["parts"][1]["resistance_ohm"]["high"] = 24.9;
  before["sources"].push_back(after["sources"].back());
  CHECK(before.dump() == after.dump());
  CHECK(text.starts_with("{\n  \"schema\": "));
  CHECK(profile::parse_profile(text, "p.json").hash == sha256_hex(text));
}

TEST_CASE("learned again: the pointer's source is replaced, also where it stood twice") {
  auto twice = nlohmann::ordered_json::parse(changed({{kOhm, {23.1, 24.9}, "first"}}));
  twice["sources"].push_back({{"of", kOhm}, {"text", "by hand"}});
  twice["sources"].push_back({{"of", "/parts/1"}, {"text", "a book"}});
  const std::string text =
      profile::with_limits(twice.dump(), "p.json", {{kOhm, {23.2, 24.8}, "second"}});
  const auto sources = profile::parse_profile(text, "p.json").sources;
  CHECK(sources.size() == twice["sources"].size() - 1);
  CHECK(sources[4].text == "second");
  CHECK(sources[5].of == "/parts/1");
}

TEST_CASE("a limit that was not there stands with the coil's other limits") {
  const auto after = nlohmann::ordered_json::parse(changed({{kRelease, {0.002, 0.004}, "x"}}));
  std::string keys;
  for (const auto& [key, value] : after["parts"][1].items()) keys += key + " ";
  CHECK(keys ==
        "kind name class between resistance_ohm matched_within_percent inductance_H pull_in_s "
        "pull_in_current_A release_s suppression energy hot ");
  CHECK(after["parts"][1]["release_s"].dump() == R"({"low":0.002,"high":0.004})");
}

TEST_CASE("no change: the same profile, only laid out anew") {
  CHECK(nlohmann::ordered_json::parse(changed({})) == nlohmann::ordered_json::parse(four_speed()));
}

TEST_CASE("refused: what the loader refuses, and what is no place for a limit") {
  check_refused({{kOhm, {25, 23}, "x"}}, "/parts/1/resistance_ohm: low is above high");
  check_refused({{kOhm, {-1, 23}, "x"}}, "p.json: /parts/1/resistance_ohm/low");
  check_refused({{kOhm, {23, 1e9}, "x"}}, "/parts/1/resistance_ohm/high");
  check_refused({{kOhm, {NAN, 24}, "x"}}, "/parts/1/resistance_ohm/low");
  check_refused({{kOhm, {23, INFINITY}, "x"}}, "/parts/1/resistance_ohm/high");
  check_refused({{kRelease, {-0.001, 0.004}, "x"}}, "/parts/1/release_s/low");
  check_refused({{"/parts/0/max_ohm", {0, 1}, "x"}}, "/parts/0/max_ohm: no limit");
  check_refused({{"/parts/99/resistance_ohm", {1, 2}, "x"}}, "no limit that can be learned");
  check_refused({{"", {1, 2}, "x"}}, "no limit that can be learned");
  check_refused({{kOhm, {23, 24}, "x"}, {kOhm, {22, 25}, "x"}}, "changed twice");
  CHECK_THROWS_AS(profile::with_limits("{", "p.json", {}), Error);
}

TEST_CASE("rounded to six significant digits") {
  const Interval r = profile::rounded({0.00123456789, 24.9876543});
  CHECK(r.low == 0.00123457);
  CHECK(r.high == 24.9877);
  CHECK(profile::rounded({0, -3.25}).high == -3.25);
}
