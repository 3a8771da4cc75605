// A key is one question: two questions with one key would let one answer pass for both.
#include <doctest/doctest.h>

#include <limits>
#include <set>
#include <stdexcept>

#include "inspection/checks/check.h"
#include "inspection/checks/plan.h"
#include "inspection/judge/judge.h"
#include "paths.h"
#include "profile/load.h"

using namespace pinproof;
using namespace pinproof::inspection;

namespace {

Step ohms(const std::string& from, const std::string& to, network::PackState state = {}) {
  return {.key = {"lever-table", "1", "P"},
          .phase = Phase::lever,
          .state = std::move(state),
          .action = OhmStep{{{from}, {to}}, Resistance{1}},
          .skip_if = {}};
}

Capabilities everything() {
  Capabilities can;
  can.tie = can.drive = can.lever = can.celsius = can.reference = can.high_reference = true;
  can.supply_max_V = 30;
  can.supply_max_A = 20;
  return can;
}

}  // namespace

TEST_CASE("a key that is taken by another connection or another state is refused") {
  Plan plan;
  plan.add(ohms("1", "2"));
  CHECK_THROWS_AS(plan.add(ohms("1", "3")), std::logic_error);  // another connection
  CHECK_THROWS_AS(plan.add(ohms("2", "1")), std::logic_error);  // the other way round
  network::PackState park;
  park.lever = 0;
  CHECK_THROWS_AS(plan.add(ohms("1", "2", park)), std::logic_error);  // another position
  network::PackState air;
  air.applied = {"C1"};
  CHECK_THROWS_AS(plan.add(ohms("1", "2", air)), std::logic_error);  // under air
  Step thermometer = ohms("1", "2");
  thermometer.action = TemperatureStep{};
  CHECK_THROWS_AS(plan.add(std::move(thermometer)), std::logic_error);  // another quantity
  plan.add(ohms("1", "2"));
  CHECK(plan.steps.size() == 1);  // the same question twice is one
}

// Profiles with which version 0.1.0 gave two questions one key: contacts that share a feed, ends of
// `between` in either order, two groups of coils on one terminal. Invented.
TEST_CASE("every profile's plan has one key a question, and one id a result") {
  std::vector<std::string> files;
  for (const char* name : {"twopole", "common", "together", "orientation"})
    files.push_back(tests::data_dir() + "/profiles/" + name + ".json");
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"})
    files.push_back(tests::source_dir() + "/profiles/" + name + ".json");
  for (const std::string& file : files) {
    CAPTURE(file);
    const auto profile = profile::load_profile(file);
    for (const bool relays : {true, false}) {
      Capabilities can = everything();
      can.tie = can.drive = relays;
      Plan plan;
      REQUIRE_NOTHROW(plan = make_plan(profile, can, relays));
      std::set<record::Key> keys;
      for (const Step& step : plan.steps) CHECK(keys.insert(step.key).second);
      record::Record record;
      record.header.profile_name = profile.name;
      record.header.profile_hash = profile.hash;
      record.header.full = relays;
      std::set<findings::ResultId> ids;
      for (const Result& r : judge(profile, record).results) {
        CAPTURE(findings::text_of(r.id()));
        CHECK(ids.insert(r.id()).second);
      }
    }
  }
}

// A fault that shows at one contact only must fail there and nowhere else: the readings of a good
// pack, one of them replaced.
TEST_CASE("what is read at one of two contacts on a feed is judged as that contact's") {
  const auto profile = profile::load_profile(tests::data_dir() + "/profiles/twopole.json");
  const Plan plan = make_plan(profile, everything(), false);
  record::Record good;
  good.header.profile_name = profile.name;
  good.header.profile_hash = profile.hash;
  for (const Step& step : plan.steps) {
    const auto* ohm = std::get_if<OhmStep>(&step.action);
    if (!ohm || step.key.check != "lever-table") continue;
    record::Reading reading;
    reading.key = step.key;
    reading.from = ohm->between.high;
    reading.to = ohm->between.low;
    reading.overload = !(ohm->expected < Resistance{1e6});
    reading.measured = {Unit::ohm,
                        {.value = reading.overload ? std::numeric_limits<double>::quiet_NaN() : 0.1,
                         .u = 0.01,
                         .range_end = reading.overload ? 1e8 : 100}};
    good.events.emplace_back(std::move(reading));
  }
  REQUIRE(good.events.size() > 8);
  const auto failed = [&](const record::Record& record) {
    std::set<findings::ResultId> out;
    for (const Result& r : judge(profile, record).results)
      if (r.check == "lever-table" && r.outcome == Outcome::fail) out.insert(r.id());
    return out;
  };
  CHECK(failed(good).empty());
  std::size_t welded = 0;
  for (std::size_t k = 0; k < good.events.size(); ++k) {
    record::Record bad = good;
    auto& reading = std::get<record::Reading>(bad.events[k]);
    if (!reading.overload) continue;
    reading.overload = false;
    reading.measured = {Unit::ohm, {.value = 0.1, .u = 0.01, .range_end = 100}};
    CAPTURE(reading.key.subject);
    CAPTURE(reading.key.role);
    const std::set<findings::ResultId> only{
        {reading.key.check, reading.key.subject, reading.key.role}};
    CHECK(failed(bad) == only);
    ++welded;
  }
  CHECK(welded > 8);  // of each open contact in each position
}
