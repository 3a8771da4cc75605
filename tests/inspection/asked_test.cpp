// Only what was read as it is asked for counts: what a person took back by skipping it does not,
// nor what was read where a profile that has changed since would not read it. And a part that may
// be missing is judged where it is there.
#include "inspection/judge/asked.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "inspection/packs.h"

using namespace pinproof;
using inspection::Verdict;
using tests::By;
using tests::Pack;

namespace {

constexpr const char* kSix = "six-speed-20-pin";

// As though it had been measured by an older version of its profile.
record::Record older(const Pack& pack) {
  record::Record out = pack.record();
  out.header.profile_hash = "0123";
  return out;
}

const Pack& good_six(By by) {
  for (const Pack& pack : tests::packs())
    if (pack.by == by && pack.accepted() && pack.profile.hash == tests::load(kSix).hash)
      return pack;
  throw std::logic_error("no such pack");
}

inspection::Judgement judged_by(const Pack& pack,
                                const std::function<void(profile::Profile&)>& change) {
  profile::Profile profile = pack.profile;
  change(profile);
  return inspection::judge(profile, older(pack));
}

bool says(const inspection::Judgement& judgement, const std::string& words) {
  return std::any_of(judgement.not_tested.begin(), judgement.not_tested.end(),
                     [&](const std::string& line) { return line.find(words) != line.npos; });
}

profile::Part& part_of(profile::Profile& profile, const std::string& name) {
  return *std::find_if(profile.parts.begin(), profile.parts.end(),
                       [&](const profile::Part& part) { return part.name == name; });
}

Verdict with_optional(const char* name, const char* fault, bool full = false) {
  profile::Profile profile = tests::load(kSix);
  part_of(profile, name).required = false;
  return tests::inspect(profile, 9, {fault}, full).judgement.verdict;
}

}  // namespace

TEST_CASE("whoever goes back and then skips has taken back what he read") {
  for (const Pack& pack : tests::packs()) {
    if (!pack.accepted()) continue;
    int tried = 0, accepted = 0;
    for (const record::Event& event : pack.record().events) {
      const auto* reading = std::get_if<record::Reading>(&event);
      const auto* capture = std::get_if<record::PulseCapture>(&event);
      if (!reading && !capture) continue;
      record::Record record = pack.record();
      record.events.emplace_back(
          record::Skipped{reading ? reading->key : capture->key, "that pin is out of reach"});
      ++tried;
      accepted += inspection::judge(pack.profile, record).verdict == Verdict::accept;
    }
    INFO(pack.name);
    CHECK(tried > 50);
    CHECK(accepted == 0);
  }
}

TEST_CASE("a profile that has changed in nothing that is asked judges as before") {
  for (const Pack& pack : tests::packs()) {
    INFO(pack.name);
    CHECK(inspection::asked_otherwise(pack.profile, older(pack)).empty());
    CHECK(inspection::judge(pack.profile, older(pack)).verdict == pack.inspected.judgement.verdict);
  }
}

TEST_CASE("a reading between other pins answers nothing") {
  for (const By by : {By::relays_full, By::relays_static, By::two_probes}) {
    const auto judgement = judged_by(good_six(by), [](profile::Profile& profile) {
      std::swap(part_of(profile, "A").between, part_of(profile, "B").between);
    });
    CHECK(judgement.verdict == Verdict::hold);
    CHECK(says(judgement, "this profile asks for"));
  }
}

TEST_CASE("a switch that closed under more pressure than is asked for has not been tested") {
  const auto less = judged_by(good_six(By::relays_static), [](profile::Profile& profile) {
    part_of(profile, "PS1").pressure_switch()->trip_Pa *= 0.4;
  });
  CHECK(less.verdict == Verdict::hold);
  CHECK(says(less, "kPa, this profile asks for"));
}

TEST_CASE("a capture with other coils than the gear has now answers nothing") {
  const Pack& pack = good_six(By::relays_full);
  std::string gear;
  for (const record::Event& event : pack.record().events)
    if (const auto* capture = std::get_if<record::PulseCapture>(&event);
        capture && capture->key.check == "gear-load" && capture->coils.size() > 1)
      gear = capture->key.subject;
  REQUIRE(!gear.empty());
  record::Record record = older(pack);
  for (record::Event& event : record.events)
    if (auto* capture = std::get_if<record::PulseCapture>(&event);
        capture && capture->key.check == "gear-load" && capture->key.subject == gear)
      capture->coils.pop_back();
  const auto judgement = inspection::judge(pack.profile, record);
  CHECK(judgement.verdict == Verdict::hold);
  CHECK(says(judgement, "was driven with coil"));
}

TEST_CASE("a coil that was driven with more than is asked for now has not been driven") {
  const auto less = judged_by(good_six(By::relays_full),
                              [](profile::Profile& profile) { profile.supply_V = 10; });
  CHECK(less.verdict == Verdict::hold);
  CHECK(says(less, "this profile asks for 10"));
}

TEST_CASE("a capture that does not say where it was seen answers nothing") {
  const Pack& pack = good_six(By::relays_full);
  record::Record record = older(pack);
  for (record::Event& event : record.events)
    if (auto* capture = std::get_if<record::PulseCapture>(&event)) capture->probe.clear();
  CHECK(inspection::judge(pack.profile, record).verdict == Verdict::hold);
}

TEST_CASE("an optional part that reads no number is not taken for missing") {
  const Pack& pack = good_six(By::relays_static);
  profile::Profile profile = pack.profile;
  part_of(profile, "PS1").required = false;
  record::Record record = pack.record();
  int changed = 0;
  for (record::Event& event : record.events)
    if (auto* reading = std::get_if<record::Reading>(&event);
        reading && reading->key.check == "pressure-switch" && !reading->overload &&
        reading->from == std::vector<std::string>{"9"})
      reading->measured.numbers().value = NAN, ++changed;
  REQUIRE(changed > 0);
  CHECK(inspection::judge(pack.profile, record).verdict == Verdict::hold);
  CHECK(inspection::judge(profile, record).verdict == Verdict::hold);
}

TEST_CASE("an optional part that is there is judged, and one that is not there is not") {
  CHECK(with_optional("F", "coil F: shorted-turns 25%") == Verdict::reject);
  CHECK(with_optional("PS1", "switch PS1: stuck-closed") == Verdict::reject);
  CHECK(with_optional("fluid thermistor", "thermistor fluid thermistor: shorted") ==
        Verdict::reject);
  CHECK(with_optional("F", "coil F: open") == Verdict::hold);  // nothing was read through its pin
  // What is wrong with it may be no matter of its resistance.
  CHECK(with_optional("C", "coil C: stuck-open", true) == Verdict::reject);
  CHECK(with_optional("C", "coil C: suppression-missing", true) == Verdict::reject);
}
