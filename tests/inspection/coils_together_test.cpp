// A coil that is open while its pin touches another coil's pin: each alone reads a good coil.
#include <doctest/doctest.h>

#include <algorithm>

#include "inspection/checks/check.h"
#include "inspection/rig.h"

using namespace pinproof;
using namespace pinproof::inspection;
using tests::inspect;
using tests::load;

namespace {

struct Pair {
  const char* profile;
  const char* open;
  const char* bridge;
};
constexpr Pair kPairs[] = {
    {"six-speed-20-pin", "coil B: open", "pin 3: bridge 6"},
    {"six-speed-20-pin", "coil E: open", "pin 3: bridge 6"},
    {"six-speed-20-pin", "coil A: joint 900", "pin 2: bridge 7"},
    {"four-speed-13-pin", "coil S1: open", "pin A: bridge B"},
    {"four-speed-13-pin", "coil S2: open", "pin A: bridge B"},
};

const Result* together(const Judgement& judgement) {
  const auto it = std::find_if(judgement.results.begin(), judgement.results.end(),
                               [](const Result& r) { return r.check == "coils-together"; });
  return it == judgement.results.end() ? nullptr : &*it;
}

}  // namespace

TEST_CASE("an open coil whose pin touches another's is found, and named") {
  for (const Pair& pair : kPairs)
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
      CAPTURE(std::string(pair.open));
      CAPTURE(seed);
      const auto run = inspect(load(pair.profile), seed, {pair.open, pair.bridge}, false);
      CHECK(run.judgement.verdict == Verdict::reject);
      const Result* result = together(run.judgement);
      REQUIRE(result);
      CHECK(result->outcome == Outcome::fail);
      CHECK(std::any_of(run.judgement.findings.begin(), run.judgement.findings.end(),
                        [](const Finding& f) { return f.kind == "coil-pins-touch"; }));
    }
}

TEST_CASE("good packs add up, with a worn feed wire as well") {
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"})
    for (std::uint64_t seed = 1; seed <= 10; ++seed) {
      CAPTURE(seed);
      const auto run = inspect(load(name), seed, {}, false);
      REQUIRE(together(run.judgement));
      CHECK(together(run.judgement)->outcome == Outcome::pass);
      // Beside what the least coil's absence would change it is next to nothing.
      CHECK(std::abs(together(run.judgement)->value->value) <
            0.1 * together(run.judgement)->limit->high);
    }
  const auto worn = inspect(load("six-speed-20-pin"), 3, {"wire feed wire: resistance 1"}, false);
  REQUIRE(together(worn.judgement));
  CHECK(together(worn.judgement)->outcome == Outcome::pass);
}

TEST_CASE("a record of relays without that reading is not accepted, an old one by hand is") {
  const auto profile = load("four-speed-13-pin");
  auto run = inspect(profile, 2, {}, false);
  REQUIRE(run.judgement.verdict == Verdict::accept);
  std::erase_if(run.record.events, [](const record::Event& event) {
    const auto* reading = std::get_if<record::Reading>(&event);
    return reading && reading->key.check == "coils-together";
  });
  const auto without = judge(profile, run.record);
  CHECK(without.verdict == Verdict::hold);
  std::erase_if(run.record.events, [](const record::Event& event) {
    const auto* reading = std::get_if<record::Reading>(&event);
    return reading && reading->key.check == "insulation";
  });
  CHECK_FALSE(together(judge(profile, run.record)));
  // What a person skips is still wanted, what the plan leaves out is not.
  const record::Key key{"coils-together", "case", ""};
  for (const bool by_person : {true, false}) {
    auto record = run.record;
    record.events.push_back(
        record::Skipped{
        key, by_person ? "skipped by hand: no time" : std::string(kNothingTies),
        by_person ? findings::SkipReason::other : findings::SkipReason::no_ties});
    const auto judged = judge(profile, record);
    REQUIRE(together(judged));
    CHECK(together(judged)->required == by_person);
  }
}

TEST_CASE("an optional coil that is not there holds nothing, a bad pair beside it is still found") {
  auto profile = load("four-speed-13-pin");
  for (auto& part : profile.parts)
    if (part.name == "PC") part.required = false;
  const auto absent = inspect(profile, 2, {"coil PC: open"}, false);
  REQUIRE(together(absent.judgement));
  CHECK(together(absent.judgement)->outcome == Outcome::undecided);
  CHECK_FALSE(together(absent.judgement)->required);
  const auto bad = inspect(profile, 2, {"coil S1: open", "pin A: bridge B"}, false);
  CHECK(together(bad.judgement)->outcome == Outcome::fail);
  CHECK(bad.judgement.verdict == Verdict::reject);
}
