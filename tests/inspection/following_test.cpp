// A run judged while it goes on: nothing is told that later events take back, and what was told
// last is what the whole record says.
#include "inspection/judge/following.h"

#include <doctest/doctest.h>

#include <map>

#include "inspection/rig.h"

using namespace pinproof;
using namespace pinproof::inspection;
using tests::inspect;
using tests::load;

namespace {

using Told = std::map<std::string, Result>;

std::string name_of(const Result& r) { return r.check + "/" + r.title; }

bool speaks_against(const Result& r) {
  return r.outcome == Outcome::fail || r.outcome == Outcome::bench_fault;
}

Told follow(const tests::Inspected& run, const profile::Profile& profile, bool good) {
  Following following(profile, run.record.header);
  Told out;
  for (const record::Event& event : run.record.events) {
    for (const Result& r : following.add({event}).results) {
      CAPTURE(r.title);
      CAPTURE(r.text);
      if (good) CHECK_FALSE(speaks_against(r));
      out[name_of(r)] = r;
    }
  }
  return out;
}

}  // namespace

TEST_CASE("of a good pack nothing bad is told on the way, and at the end all that is judged") {
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"})
    for (const bool full : {false, true}) {
      CAPTURE(name);
      CAPTURE(full);
      const auto profile = load(name);
      const auto run = inspect(profile, 7, {}, full);
      REQUIRE(run.judgement.verdict == Verdict::accept);
      const Told told = follow(run, profile, true);
      int compared = 0;
      for (const Result& r : run.judgement.results) {
        const auto it = told.find(name_of(r));
        if (r.outcome != Outcome::pass) continue;
        CAPTURE(r.title);
        REQUIRE(it != told.end());
        CHECK(it->second.outcome == r.outcome);
        CHECK(it->second.text == r.text);
        ++compared;
      }
      CHECK(compared > 40);
    }
}

TEST_CASE("what fails is told") {
  const auto profile = load("six-speed-20-pin");
  for (const char* fault :
       {"coil B: shorted", "contact L2: stuck-open", "bench: range-stuck 100"}) {
    CAPTURE(std::string(fault));
    const auto run = inspect(profile, 7, {fault}, false);
    const Told told = follow(run, profile, false);
    for (const Result& r : run.judgement.results)
      if (r.outcome == Outcome::fail) {
        CAPTURE(r.title);
        REQUIRE(told.contains(name_of(r)));
        CHECK(told.at(name_of(r)).outcome == r.outcome);
      }
  }
}
