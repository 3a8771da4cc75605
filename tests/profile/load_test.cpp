#include "profile/load.h"

#include <doctest/doctest.h>

#include "paths.h"
#include "profile/edit.h"
#include "quantity/error.h"

using namespace pinproof;
using nlohmann::json;

namespace {

// The message of the refusal, or "" when the profile was taken.
std::string refusal(const std::string& text) {
  try {
    (void)profile::parse_profile(text, "pack.json");
    return "";
  } catch (const Error& e) {
    CHECK(e.fault() == Fault::usage);
    return e.what();
  }
}

std::string refusal_after(auto&& edit) {
  json profile = tests::six_speed_json();
  edit(profile);
  return refusal(profile.dump());
}

void check_says(const std::string& message, std::initializer_list<const char*> words) {
  INFO(message);
  CHECK(message.starts_with("pack.json: "));
  for (const char* word : words) CHECK(message.find(word) != std::string::npos);
}

json& part(json& profile, const char* name) {
  return profile["parts"][tests::part_index(profile, name)];
}

}  // namespace

TEST_CASE("both profiles of the project load whole") {
  const auto six =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json");
  CHECK(six.connector.pins.size() == 20);
  CHECK(six.drive == profile::Drive::low_side);
  int coils = 0, variable = 0, switches = 0, with_series = 0;
  for (const auto& p : six.parts) {
    coils += p.coil() != nullptr;
    variable += p.coil() && p.coil()->coil_class == profile::CoilClass::variable;
    switches += p.pressure_switch() != nullptr;
    with_series += p.pressure_switch() && p.pressure_switch()->series_ohm;
  }
  CHECK(coils == 7);
  CHECK(variable == 1);
  CHECK(switches == 5);
  CHECK(with_series == 2);
  REQUIRE(six.lever);
  CHECK(six.lever->lines.size() == 5);
  CHECK(six.lever->start_permit == "start permit");
  CHECK(six.lever->reverse == "reverse");
  CHECK(six.find_part("PS1")->pressure_switch()->trip_Pa == 520e3);
  CHECK(six.hash.size() == 64);

  const auto four =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/four-speed-13-pin.json");
  CHECK(four.connector.pins.size() == 13);
  CHECK(four.drive == profile::Drive::high_side);
}

TEST_CASE("what no pack can be is refused by file, pointer, value and what is allowed") {
  SUBCASE("unknown key") {
    check_says(refusal_after([](json& p) { p["parts"][2]["colour"] = "red"; }),
               {"/parts/2/colour", "unknown key", "between"});
  }
  SUBCASE("wrong unit in the key") {
    check_says(refusal_after([](json& p) {
                 json& coil = part(p, "A");
                 coil["resistance_kohm"] = coil["resistance_ohm"];
                 coil.erase("resistance_ohm");
               }),
               {"/resistance_ohm", "missing"});
  }
  SUBCASE("a value that only fits another unit") {
    check_says(refusal_after([](json& p) {
                 part(p, "A")["pull_in_s"] = {{"low", 2.4}, {"high", 52}};
               }),
               {"/pull_in_s/high", "52", "allowed is"});
  }
  SUBCASE("a text where a number belongs") {
    check_says(refusal_after([](json& p) { p["supply_V"] = "13.5 V"; }),
               {"/supply_V", "13.5 V", "a number from 1 to 60"});
  }
  SUBCASE("duplicate pin") {
    check_says(refusal_after([](json& p) { p["connector"]["pins"][4]["number"] = "3"; }),
               {"/connector/pins/4/number", "\"3\"", "twice"});
  }
  SUBCASE("part between unknown nodes") {
    check_says(refusal_after([](json& p) {
                 part(p, "A")["between"] = {"feed-splise", "2"};
               }),
               {"/between", "feed-splise", "not a pin"});
  }
  SUBCASE("both ends on one node") {
    check_says(refusal_after([](json& p) {
                 part(p, "A")["between"] = {"2", "2"};
               }),
               {"/between", "both ends"});
  }
  SUBCASE("limits reversed") {
    check_says(refusal_after([](json& p) {
                 part(p, "A")["inductance_H"] = {{"low", 0.04}, {"high", 0.02}};
               }),
               {"/inductance_H", "above high"});
    check_says(refusal_after([](json& p) { part(p, "A")["resistance_ohm"]["low"] = 20; }),
               {"/resistance_ohm", "low"});
  }
  SUBCASE("duplicate part name") {
    check_says(refusal_after([](json& p) { part(p, "B")["name"] = "A"; }),
               {"/name", "\"A\"", "twice"});
  }
  SUBCASE("a pin that the face does not show") {
    check_says(refusal_after([](json& p) { p["connector"]["face"][0].erase(0); }),
               {"/connector/face", "\"1\""});
  }
  SUBCASE("code of the wrong length, and of other characters") {
    check_says(refusal_after([](json& p) { p["lever"]["positions"][0]["code"] = "1111"; }),
               {"/lever/positions/0/code", "5 lines"});
    check_says(refusal_after([](json& p) { p["lever"]["positions"][0]["code"] = "1112x"; }),
               {"/lever/positions/0/code", "1112x", "allowed are"});
  }
  SUBCASE("gear that energises a switch") {
    check_says(refusal_after([](json& p) { p["gears"][1]["energised"] = {"PS1"}; }),
               {"/gears/1", "PS1", "coil"});
  }
  SUBCASE("a contact that the lever table does not move") {
    check_says(refusal_after([](json& p) { p["lever"].erase("reverse"); }),
               {"/lever", "reverse", "nothing would test it"});
  }
  SUBCASE("reset above trip") {
    check_says(refusal_after([](json& p) { part(p, "PS1")["reset_kPa"] = 600; }),
               {"/reset_kPa", "trip"});
  }
  SUBCASE("guard factor outside the two rules") {
    check_says(refusal_after([](json& p) { p["guard_factor"] = 0; }), {"/guard_factor", "0.83"});
  }
  SUBCASE("another schema") {
    check_says(refusal_after([](json& p) { p["schema"] = "pinproof/bench/1"; }),
               {"/schema", "pinproof/bench/1", "pinproof/profile/1"});
  }
}

TEST_CASE("what is not JSON is refused") {
  CHECK(refusal("{\"schema\": NaN}").find("not JSON") != std::string::npos);
  CHECK(refusal("").find("not JSON") != std::string::npos);
  CHECK(refusal("{\"schema\": \"pinproof/profile/1\", \"name\"").find("not JSON") !=
        std::string::npos);
  CHECK(refusal("[]").find("an object") != std::string::npos);
  CHECK(
      refusal("{\"schema\":\"pinproof/profile/1\",\"name\":\"a\",\"name\":\"b\"}").find("twice") !=
      std::string::npos);
  CHECK(refusal("{\"schema\": 1e999}") != "");
  CHECK(refusal("\"\xff\xfe\"") != "");
  std::string deep;
  for (int i = 0; i < 100000; ++i) deep += '[';
  CHECK(refusal(deep).find("deeper") != std::string::npos);
}

TEST_CASE("a file that is too large is refused by its size, unread") {
  const std::string path = "/tmp/pinproof-test-large-profile.json";
  {
    std::string big(5u << 20, ' ');
    write_file(path, big);
  }
  std::string message;
  try {
    (void)profile::load_profile(path);
  } catch (const Error& e) {
    message = e.what();
  }
  std::remove(path.c_str());
  CHECK(message.find("larger than the 4194304 bytes") != std::string::npos);
}

TEST_CASE("a file that is not there is named") {
  CHECK_THROWS_WITH_AS((void)profile::load_profile("/nowhere/pack.json"),
                       doctest::Contains("/nowhere/pack.json: cannot open"), Error);
}
