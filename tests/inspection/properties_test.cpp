// What must hold of every record, whatever pack it is of: the order of what was read is no matter,
// nor that of a profile. Beside it: packs_test (a record judges again to the same bytes),
// monotone_test (no wider limit makes a verdict worse), missing_test and asked_test (nothing that
// is missing or impossible is accepted). Fixed seeds.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <random>

#include "inspection/packs.h"

using namespace pinproof;
using inspection::Judgement;
using inspection::Outcome;
using inspection::Verdict;
using tests::Pack;

namespace {

std::string label(const inspection::Result& r) { return r.check + " " + r.title; }

std::map<std::string, Outcome> outcomes(const Judgement& judgement) {
  std::map<std::string, Outcome> out;
  for (const auto& r : judgement.results) out[label(r)] = r.outcome;
  return out;
}

std::vector<std::string> finding_texts(const Judgement& judgement) {
  std::vector<std::string> out;
  for (const auto& f : judgement.findings) out.push_back(f.kind + " of " + f.part + ": " + f.text);
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace

TEST_CASE("the order of readings changes neither verdict nor outcomes nor findings") {
  std::mt19937_64 random(21);
  for (const Pack& pack : tests::packs()) {
    INFO(pack.name);
    const Judgement& first = pack.inspected.judgement;
    for (int k = 0; k < 5; ++k) {
      record::Record record = pack.record();
      // Of one key the last counts, and the end of the run stays last: all else is free.
      REQUIRE(std::holds_alternative<record::Finished>(record.events.back()));
      std::shuffle(record.events.begin(), record.events.end() - 1, random);
      const Judgement other = inspection::judge(pack.profile, record);
      CHECK(other.verdict == first.verdict);
      CHECK(outcomes(other) == outcomes(first));
      CHECK(finding_texts(other) == finding_texts(first));
    }
  }
}

namespace {

bool reordered_says_the_same(const Pack& pack, bool pins, std::mt19937_64& random) {
  profile::Profile profile = pack.profile;
  if (pins)
    std::shuffle(profile.connector.pins.begin(), profile.connector.pins.end(), random);
  else
    std::shuffle(profile.parts.begin(), profile.parts.end(), random);
  const auto verdict = inspection::judge(profile, pack.record()).verdict;
  const auto before = pack.inspected.judgement.verdict;
  // Whatever the order, nobody is accepted by it.
  CHECK((verdict == Verdict::accept ? before == Verdict::accept : true));
  return verdict == before;
}

}  // namespace

TEST_CASE("the order of parts in a profile changes no verdict of a stored record") {
  std::mt19937_64 random(22);
  for (const Pack& pack : tests::packs())
    for (int k = 0; k < (pack.by == tests::By::relays_full ? 2 : 10); ++k) {
      INFO(pack.name);
      CHECK(reordered_says_the_same(pack, false, random));
    }
}

TEST_CASE("known limit: the order of pins changes the verdict of a stored record" *
          doctest::should_fail()) {
  // Insulation readings are named by their circuit's pins in the profile's order: in another order
  // they are not found, an accept becomes a hold, and a reject for a leak does too.
  std::mt19937_64 random(23);
  for (const Pack& pack : tests::packs())
    for (int k = 0; k < 2; ++k) {
      INFO(pack.name);
      CHECK(reordered_says_the_same(pack, true, random));
    }
}

TEST_CASE("packs that are inspected under a profile in another order get the same verdict") {
  std::mt19937_64 random(24);
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"})
    for (const std::string fault : {"", "wire ground wire: open"})
      for (int k = 0; k < 2; ++k) {
        profile::Profile profile = tests::load(name);
        std::shuffle(profile.connector.pins.begin(), profile.connector.pins.end(), random);
        std::shuffle(profile.parts.begin(), profile.parts.end(), random);
        const std::vector<std::string> faults(fault.empty() ? 0 : 1, fault);
        INFO(name, " ", fault);
        CHECK(tests::inspect(profile, 4, faults, false).judgement.verdict ==
              (fault.empty() ? Verdict::accept : Verdict::reject));
      }
}
