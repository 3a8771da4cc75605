#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "inspection/rig.h"
#include "quantity/error.h"
#include "record/json.h"

using namespace pinproof;
using inspection::Outcome;
using inspection::Verdict;

namespace {

bool has_finding(const tests::Inspected& pack, const std::string& kind, const std::string& part) {
  return std::any_of(
      pack.judgement.findings.begin(), pack.judgement.findings.end(),
      [&](const auto& f) { return f.kind == kind && f.part.find(part) != std::string::npos; });
}

}  // namespace

TEST_CASE("a seed repeats a run to the byte, another does not") {
  const auto profile = tests::load("six-speed-20-pin");
  // The ports differ from run to run and are in the instruments' names.
  const auto without_ports = [](const record::Record& record) {
    record::Record out = record;
    for (auto& event : out.events) {
      if (auto* r = std::get_if<record::Reading>(&event)) r->instrument.clear();
      if (auto* c = std::get_if<record::PulseCapture>(&event)) c->instrument.clear();
    }
    return record::to_json(out);
  };
  const std::string first = without_ports(tests::inspect(profile, 5, {}).record);
  CHECK(without_ports(tests::inspect(profile, 5, {}).record) == first);
  CHECK(without_ports(tests::inspect(profile, 6, {}).record) != first);
}

TEST_CASE("a stored record reads back to the same bytes and the same judgement") {
  const auto profile = tests::load("four-speed-13-pin");
  const auto pack = tests::inspect(profile, 3, {"coil S2: shorted-turns 12%"});
  const std::string json = record::to_json(pack.record);
  const auto again = record::from_json(json, "record.json");
  CHECK(record::to_json(again) == json);
  const auto judged = inspection::judge(profile, again);
  REQUIRE(judged.results.size() == pack.judgement.results.size());
  for (std::size_t i = 0; i < judged.results.size(); ++i) {
    CHECK(judged.results[i].text == pack.judgement.results[i].text);
    CHECK(judged.results[i].outcome == pack.judgement.results[i].outcome);
  }
  CHECK(judged.verdict == Verdict::reject);
}

TEST_CASE("the three packs of the first inspection") {
  const auto profile = tests::load("six-speed-20-pin");
  CHECK(tests::inspect(profile, 7, {}).exit_code == 0);
  const auto shorted = tests::inspect(profile, 7, {"coil B: shorted-turns 10%"});
  CHECK(shorted.exit_code == 1);
  CHECK(has_finding(shorted, "resistance-low", "B"));
  CHECK(shorted.judgement.findings.front().kind == "shorted-turns");
  const auto ground = tests::inspect(profile, 7, {"wire ground wire: open"});
  CHECK(ground.exit_code == 1);
  CHECK(has_finding(ground, "lost-ground", "ground wire"));
}

TEST_CASE("a static accept says that it is static") {
  const auto profile = tests::load("six-speed-20-pin");
  const auto pack = tests::inspect(profile, 2, {}, false);
  CHECK(pack.judgement.verdict == Verdict::accept);
  CHECK(pack.judgement.level == inspection::Level::static_);
  CHECK(pack.judgement.not_tested.front().find("No coil was driven") == 0);
}

TEST_CASE("an open is believed only through a proven path") {
  const auto profile = tests::load("six-speed-20-pin");
  // The pin's wire is open, so its switch reads open at rest as it should: the
  // open must not pass, since a lead that is off looks the same.
  const auto pack = tests::inspect(profile, 2, {"pin 9: open"});
  const auto rest = std::find_if(pack.judgement.results.begin(), pack.judgement.results.end(),
                                 [](const auto& r) { return r.title == "Switch PS1: at rest"; });
  REQUIRE(rest != pack.judgement.results.end());
  CHECK(rest->outcome == Outcome::undecided);
  CHECK(rest->text.find("nothing was ever read through pin 9") != std::string::npos);
}

TEST_CASE("no missing, stale or impossible reading is ever accepted") {
  const auto profile = tests::load("six-speed-20-pin");
  const auto good = tests::inspect(profile, 4, {});
  REQUIRE(good.judgement.verdict == Verdict::accept);
  SUBCASE("any one reading or capture taken out") {
    for (std::size_t e = 0; e + 1 < good.record.events.size(); ++e) {
      record::Record record = good.record;
      record.events.erase(record.events.begin() + static_cast<std::ptrdiff_t>(e));
      INFO("event ", e);
      CHECK(inspection::judge(profile, record).verdict != Verdict::accept);
    }
  }
  SUBCASE("any one reading not a number") {
    for (std::size_t e = 0; e < good.record.events.size(); ++e) {
      record::Record record = good.record;
      auto* r = std::get_if<record::Reading>(&record.events[e]);
      if (!r || r->overload) continue;
      r->measured.numbers().value = NAN;
      INFO(r->key.check, " ", r->key.subject, " ", r->key.role);
      CHECK(inspection::judge(profile, record).verdict != Verdict::accept);
    }
  }
  SUBCASE("the end of the record missing") {
    record::Record record = good.record;
    record.events.pop_back();
    CHECK(inspection::judge(profile, record).verdict == Verdict::hold);
  }
  SUBCASE("no events at all") {
    record::Record record = good.record;
    record.events.clear();
    CHECK(inspection::judge(profile, record).verdict == Verdict::hold);
  }
  SUBCASE("a record of another profile") {
    CHECK_THROWS_AS((void)inspection::judge(tests::load("four-speed-13-pin"), good.record), Error);
  }
}

TEST_CASE("a required part that nothing judges holds the verdict") {
  const auto with = [](profile::Part part) {
    auto profile = tests::load("six-speed-20-pin");
    profile.parts.push_back(std::move(part));
    return profile;
  };
  profile::Part part;
  part.name = "extra";
  part.between[0] = "12";
  part.between[1] = std::string(profile::kCase);
  SUBCASE("a diode") {
    part.limits = profile::Diode{{0.4, 0.9}};
    CHECK(tests::inspect(with(part), 2, {}).judgement.verdict != Verdict::accept);
    part.required = false;
    CHECK(tests::inspect(with(part), 2, {}).judgement.verdict == Verdict::accept);
  }
  SUBCASE("a switch behind an internal node") {
    part.limits = profile::Switch{
        .trip_Pa = 5e5, .reset_Pa = 3e5, .closed_ohm = 5, .series_ohm = {}, .element = "E1"};
    part.between[0] = "nowhere";
    CHECK(tests::inspect(with(part), 2, {}).judgement.verdict != Verdict::accept);
  }
}

TEST_CASE("a release limit on a coil whose release cannot be seen holds") {
  auto profile = tests::load("six-speed-20-pin");
  for (auto& part : profile.parts)
    if (part.name == "A") part.coil()->release_s = Interval{0.004, 0.02};
  const auto pack = tests::inspect(profile, 2, {});
  CHECK(pack.judgement.verdict == Verdict::hold);
}
