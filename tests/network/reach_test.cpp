#include "network/reach.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "paths.h"
#include "profile/load.h"

using namespace pinproof;

namespace {

profile::Profile six_speed() {
  return profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json");
}

network::PackState at(std::size_t lever, std::vector<std::string> applied = {}) {
  network::PackState state;
  state.lever = lever;
  state.applied = std::move(applied);
  return state;
}

const network::ContactPair& pair_at(const std::vector<network::ContactPair>& pairs,
                                    const std::string& pin) {
  return *std::find_if(pairs.begin(), pairs.end(), [&](const auto& p) { return p.from == pin; });
}

}  // namespace

TEST_CASE("leads of a coil behind the feed splice") {
  const auto profile = six_speed();
  const auto leads = network::leads_of(profile, *profile.find_part("C"));
  REQUIRE(leads);
  CHECK(leads->from == "1");
  CHECK(leads->to == "4");
  REQUIRE(leads->wires.size() == 1);
  CHECK(leads->wires_max_ohm == doctest::Approx(0.1));
}

TEST_CASE("switches that share a pin") {
  const auto profile = six_speed();
  const auto pairs = network::contact_pairs(profile);
  const auto& shared = pair_at(pairs, "12");
  CHECK(shared.parts.size() == 2);
  CHECK_FALSE(network::expectation(profile, shared, at(0))->closed);
  const auto one = network::expectation(profile, shared, at(0, {"E4"}));
  CHECK(one->ohm.low == doctest::Approx(316));
  CHECK(one->ohm.high == doctest::Approx(349));
  // Both closed: 316 || 960 and 349 || 1045, by hand.
  const auto both = network::expectation(profile, shared, at(0, {"E4", "E5"}));
  CHECK(both->ohm.low == doctest::Approx(316.0 * 960 / (316 + 960)));
  CHECK(both->ohm.high == doctest::Approx(349.0 * 1045 / (349 + 1045)));
}

TEST_CASE("a switch that rests closed opens under pressure") {
  const auto profile = six_speed();
  const auto& ps3 = *profile.find_part("PS3");
  CHECK(*network::is_closed(profile, ps3, at(0)) == true);
  CHECK(*network::is_closed(profile, ps3, at(0, {"E3"})) == false);
}

TEST_CASE("circuits follow the lever") {
  const auto profile = six_speed();
  const auto park =
      network::circuits(profile, at(0));  // code 11110: line 5 closed, start permitted
  const auto& with_case = park.front();
  const auto holds = [](const std::vector<std::string>& group, const char* pin) {
    return std::find(group.begin(), group.end(), pin) != group.end();
  };
  for (const char* pin : {"17", "18", "19", "20", "11"}) CHECK(holds(with_case, pin));
  for (const char* pin : {"1", "9", "13", "16"}) CHECK_FALSE(holds(with_case, pin));
  const auto coils =
      std::find_if(park.begin(), park.end(), [&](const auto& g) { return holds(g, "1"); });
  CHECK(coils->size() == 8);
  std::size_t pins = 0;
  for (const auto& group : park) pins += group.size();
  CHECK(pins == 21);
}
