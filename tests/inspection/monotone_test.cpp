// A wider limit never makes an outcome or a verdict worse, a tighter one never makes it better, and
// no reading becomes better by being less certain. Records are judged again under edited profiles.
// Fixed seeds.
#include <doctest/doctest.h>

#include <cstdio>
#include <map>
#include <random>

#include "inspection/limits.h"
#include "inspection/packs.h"

using namespace pinproof;
using inspection::Judgement;
using inspection::Outcome;
using inspection::Verdict;
using tests::By;
using tests::Limit;
using tests::Pack;

namespace {

// What grows when a pack looks better. Undecided, skipped and bench faults are one.
int rank(Outcome outcome) {
  return outcome == Outcome::fail ? 0 : outcome == Outcome::pass ? 2 : 1;
}
int rank(Verdict v) { return v == Verdict::reject ? 0 : v == Verdict::accept ? 2 : 1; }

// Titles may hold figures that an edit changes ("pulls in at 120 °C"): the place names a result.
std::vector<std::pair<std::string, int>> ranks(const Judgement& judgement) {
  std::vector<std::pair<std::string, int>> out;
  for (const auto& r : judgement.results)
    out.emplace_back(r.check + " " + r.title.substr(0, r.title.find(" at ")), rank(r.outcome));
  return out;
}

// Names of results that are worse in `after`.
std::vector<std::string> worse(const Judgement& before, const Judgement& after) {
  const auto x = ranks(before), y = ranks(after);
  std::vector<std::string> out;
  if (x.size() != y.size()) return {"other results"};
  for (std::size_t k = 0; k < x.size(); ++k) {
    if (x[k].first != y[k].first) return {"other results: " + x[k].first + ", " + y[k].first};
    if (y[k].second < x[k].second) out.push_back(x[k].first);
  }
  return out;
}

// Sister coils are those that no finding is about (likeness.cpp): a coil that fails by a tighter
// limit is no longer one, and those that are left are compared with the others, or with nobody.
bool about_sisters(const std::string& result) {
  return result.starts_with("coil-likeness") || result.starts_with("other results");
}

bool full(const Pack& pack) { return pack.by == By::relays_full; }

struct Tally {
  int edits = 0, verdicts = 0, outcomes = 0, sisters = 0;
};

void compare(const Pack& pack, const profile::Profile& profile, bool loosened, Tally& tally) {
  const Judgement& was = pack.inspected.judgement;
  const Judgement now = inspection::judge(profile, pack.record());
  ++tally.edits;
  const Judgement& tight = loosened ? was : now;
  const Judgement& loose = loosened ? now : was;
  CHECK(rank(loose.verdict) >= rank(tight.verdict));
  tally.verdicts += loose.verdict != tight.verdict;
  tally.outcomes += ranks(loose) != ranks(tight);
  for (const std::string& name : worse(tight, loose)) {
    INFO(name);
    const bool sisters = about_sisters(name);
    CHECK(sisters);
    ++tally.sisters;
  }
}

double drawn(std::mt19937_64& random, bool loosened) {
  std::uniform_real_distribution<double> more(-2, 2), left(-3, 0);
  return std::pow(10.0, loosened ? more(random) : left(random)) - (loosened ? 0 : 1);
}

}  // namespace

TEST_CASE("one limit loosened makes nothing worse, tightened nothing better") {
  std::mt19937_64 random(31);
  Tally tally;
  for (const Pack& pack : tests::packs()) {
    const auto limits = tests::limits_of(pack.profile);
    CHECK(limits.size() > 20);
    // A full record takes the longest: of its limits a share.
    for (std::size_t k = 0; k < limits.size(); k += full(pack) ? 6 : 1)
      for (const bool loosened : {true, false}) {
        profile::Profile profile = pack.profile;
        const double by = drawn(random, loosened);
        limits[k].edit(profile, by);
        INFO(pack.name, ": ", limits[k].name, " by ", by);
        compare(pack, profile, loosened, tally);
      }
  }
  std::printf("one limit: %d edits, outcomes moved by %d, verdicts by %d, sister coils' by %d\n",
              tally.edits, tally.outcomes, tally.verdicts, tally.sisters);
  CHECK(tally.edits > 1000);
  CHECK(tally.outcomes > 100);
  CHECK(tally.verdicts > 5);
}

TEST_CASE("several limits loosened or tightened at once") {
  std::mt19937_64 random(32);
  Tally tally;
  for (const Pack& pack : tests::packs()) {
    const auto limits = tests::limits_of(pack.profile);
    for (int k = 0; k < (full(pack) ? 10 : 60); ++k) {
      const bool loosened = k % 2 == 0;
      profile::Profile profile = pack.profile;
      for (const Limit& limit : limits)
        if (random() % 4 == 0) limit.edit(profile, drawn(random, loosened));
      INFO(pack.name, ": edit ", k);
      compare(pack, profile, loosened, tally);
    }
  }
  std::printf("several: %d edits, outcomes moved by %d, verdicts by %d, sister coils' by %d\n",
              tally.edits, tally.outcomes, tally.verdicts, tally.sisters);
  CHECK(tally.edits > 500);
  CHECK(tally.verdicts > 20);
}

// Coils are equal by what they are, not by equal bands: limits that were learned for each apart
// must not take them out of their set.
TEST_CASE("a tighter band of one coil leaves it among its sisters") {
  const Pack pack =
      tests::inspected_pack("six-speed-20-pin", 7, By::relays_static, "coil B: shorted-turns 5%");
  profile::Profile alone = pack.profile;
  for (auto& part : alone.parts)
    if (part.name == "B") part.coil()->resistance_ohm.high -= 1e-6;
  CHECK(pack.inspected.judgement.verdict == Verdict::reject);
  CHECK(inspection::judge(alone, pack.record()).verdict == Verdict::reject);
}

TEST_CASE("a smaller guard band decides more, and never the other way") {
  for (const Pack& pack : tests::packs()) {
    INFO(pack.name);
    profile::Profile sharper = pack.profile;
    sharper.guard_factor = 0.83;
    const auto wide = ranks(pack.inspected.judgement);
    const auto sharp = ranks(inspection::judge(sharper, pack.record()));
    REQUIRE(wide.size() == sharp.size());
    for (std::size_t k = 0; k < wide.size(); ++k) {
      INFO(wide[k].first);
      const bool as_before = wide[k].second == 1 || wide[k].second == sharp[k].second;
      CHECK(as_before);
    }
  }
}

namespace {

// The one thing that is asked of a bench and not of a pack: whether its meter and its resistor
// agree within both their uncertainties. Less certain, they disagree less.
bool about_reference(const std::string& result) {
  return result.find("Reference resistor") != std::string::npos;
}

record::Record less_certain(const record::Record& record, const std::function<double()>& factor) {
  record::Record out = record;
  for (auto& event : out.events) {
    if (auto* r = std::get_if<record::Reading>(&event)) {
      const double by = factor();
      r->measured.numbers().u *= by, r->measured.numbers().u_random *= by;
    }
    if (auto* c = std::get_if<record::PulseCapture>(&event)) {
      const double by = factor();
      c->voltage_gain_u *= by, c->voltage_offset_u *= by;
      c->current_gain_u *= by, c->current_offset_u *= by;
    }
  }
  return out;
}

}  // namespace

TEST_CASE("less certain readings never pass where they did not, nor fail where they passed") {
  std::mt19937_64 random(33);
  std::uniform_real_distribution<double> power(0, 2);
  std::map<std::string, int> odd;
  int moved = 0;
  for (const Pack& pack : tests::packs()) {
    const auto before = ranks(pack.inspected.judgement);
    for (int k = 0; k < (full(pack) ? 4 : 12); ++k) {
      const double one = std::pow(10.0, power(random));
      const bool alike = k % 2 == 0;
      const auto record =
          less_certain(pack.record(), [&] { return alike ? one : std::pow(10.0, power(random)); });
      const Judgement judged = inspection::judge(pack.profile, record);
      const auto after = ranks(judged);
      INFO(pack.name, ": ", alike ? "all alike" : "each by its own");
      CHECK(rank(judged.verdict) <= std::max(rank(pack.inspected.judgement.verdict), 1));
      REQUIRE(before.size() == after.size());
      for (std::size_t i = 0; i < before.size(); ++i) {
        INFO(before[i].first);
        const bool decided_otherwise = after[i].second != 1 && after[i].second != before[i].second;
        moved += after[i].second != before[i].second;
        if (!decided_otherwise) continue;
        ++odd[before[i].first.substr(0, before[i].first.find(' '))];
        CHECK(about_reference(before[i].first));
      }
    }
  }
  std::printf("less certain: %d outcomes moved", moved);
  for (const auto& [name, n] : odd) std::printf(", %d otherwise of %s", n, name.c_str());
  std::printf("\n");
  CHECK(moved > 500);
}

TEST_CASE("a less certain third reading makes a wire behind a splice more certain") {
  // What is common to the three is taken to cancel (wires.cpp): so it does where all were read in
  // one range, and not where the sum of two arms needed the next one.
  const Pack pack = tests::inspected_pack("six-speed-20-pin", 4, By::relays_static, "");
  const auto band = [&](double u) {
    record::Record record = pack.record();
    for (auto& event : record.events)
      if (auto* r = std::get_if<record::Reading>(&event))
        if (r->key.check == "wire" && r->key.role == "AB") r->measured.numbers().u = u;
    for (const auto& r : inspection::judge(pack.profile, record).results)
      if (r.title.starts_with("feed wire")) return r.guard_band;
    return 0.0;
  };
  REQUIRE(band(0.001) > 0);
  CHECK(band(0.004) >= band(0.001));
}
