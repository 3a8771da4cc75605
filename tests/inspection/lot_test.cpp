// The study of a lot on lots that are made so that the answer is known.
#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <set>

#include "inspection/lot_study.h"
#include "quantity/error.h"

using namespace pinproof;
using namespace pinproof::inspection;
using record::Judged;
using record::Ledger;

namespace {

constexpr int kCoils = 4;

/// One pack: coils share a part of their spread, as wire of one spool does.
std::vector<double> draw(std::mt19937_64& random, double middle = 13) {
  std::normal_distribution<double> noise;
  const double common = 0.06 * noise(random);
  std::vector<double> out;
  for (int k = 0; k < kCoils; ++k) out.push_back(middle + common + 0.03 * noise(random));
  return out;
}

std::string add(Ledger& ledger, const std::string& lot, const std::string& serial,
                const std::vector<double>& ohm, const std::string& verdict = "accept",
                const std::string& ended = "complete", const std::string& level = "static") {
  record::Header h;
  h.profile_name = "ferry yard five-speed", h.profile_hash = "c0ffee", h.lot = lot;
  h.serial = serial, h.started_at = "2026-11-02T08:15:00Z";
  const std::string id = ledger.begin(h, "{}");
  Judged judged;
  judged.verdict = verdict, judged.level = level, judged.profile_hash = "c0ffee";
  for (std::size_t k = 0; k < ohm.size(); ++k) {
    const std::string coil(1, static_cast<char>('A' + k));
    record::Figure f{"coil-resistance", coil,   "Coil " + coil, Unit::ohm,
                     {12, 14},          ohm[k], 0.01,           "pass"};
    judged.figures.push_back(f);
  }
  ledger.close(id, ended, judged);
  return id;
}

LotStudy study(const Ledger& ledger, const std::string& lot = "L") {
  LotAsked asked;
  asked.lot = lot;
  return study_lot(ledger, asked);
}

bool says(const LotStudy& s, const std::string& serial, const std::string& word) {
  for (const auto& o : s.outliers)
    if (o.attempt.serial == serial)
      for (const auto& reason : o.reasons)
        if (reason.find(word) != std::string::npos) return true;
  return false;
}

}  // namespace

TEST_CASE("yields: first pass and final apart, bench faults and stops count for nothing") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(1);
  for (int k = 0; k < 20; ++k) add(*ledger, "L", "S" + std::to_string(k), draw(random));
  add(*ledger, "L", "S3", draw(random));            // accepted again
  add(*ledger, "L", "T1", draw(random), "reject");  // then mended
  add(*ledger, "L", "T1", draw(random), "accept");
  add(*ledger, "L", "T2", draw(random), "accept");  // then failed
  add(*ledger, "L", "T2", draw(random), "reject");
  add(*ledger, "L", "T3", draw(random), "hold");
  add(*ledger, "L", "T4", draw(random), "hold", "bench-fault");
  add(*ledger, "L", "T4", draw(random), "hold", "stopped");
  add(*ledger, "L", "T5", draw(random), "hold", "bench-fault");
  add(*ledger, "L", "S4", draw(random), "hold", "stopped");  // accepted before
  add(*ledger, "L", "T6", draw(random), "hold", "stopped");  // and judged after that
  add(*ledger, "L", "T6", draw(random), "accept");
  add(*ledger, "L", "", draw(random));
  add(*ledger, "L", "", draw(random), "reject");
  add(*ledger, "M", "S0", draw(random), "reject");  // another lot
  const LotCounts c = study(*ledger).counts;
  CHECK(c.packs == 26);
  CHECK(c.attempts == 29);
  CHECK(c.no_verdict == 5);
  CHECK(c.unjudged == 2);
  CHECK(c.retested == 3);
  CHECK(c.no_serial == 2);
  CHECK(c.first_accepts == 23);
  CHECK(c.accepts == 23);
  CHECK(c.rejects == 2);
  CHECK(c.holds == 1);
  CHECK(c.static_accepts == 23);
  CHECK(c.final_yield.low < 23 / 26.0);
  CHECK(c.final_yield.high > 23 / 26.0);
  // Only the last attempt of a serial is a value.
  CHECK(study(*ledger).figures.at(0).series.n() == 26);
}

TEST_CASE("an attempt without driven coils lifts no full reject or hold; a full one does") {
  const auto ledger = Ledger::open(":memory:");
  const auto tried = [&](const std::string& serial, const std::string& verdict,
                         const std::string& level, double ohm = 13) {
    return add(*ledger, "L", serial, {ohm}, verdict, "complete", level);
  };
  const std::string stuck = tried("S1", "reject", "full", 13.9);
  const std::string later = tried("S1", "accept", "static");
  tried("S2", "hold", "full"), tried("S2", "accept", "static");
  tried("S3", "reject", "full"), tried("S3", "accept", "full");
  tried("S4", "accept", "full"), tried("S4", "reject", "static");
  tried("S5", "reject", "full"), tried("S5", "hold", "static"), tried("S5", "accept", "static");
  tried("S6", "reject", "static"), tried("S6", "accept", "static");
  tried("S7", "reject", "full"), tried("S7", "accept", "full"), tried("S7", "accept", "static");
  const LotStudy s = study(*ledger);
  CHECK(s.counts.packs == 7);
  CHECK(s.counts.rejects == 3);  // S1, S4, S5
  CHECK(s.counts.holds == 1);
  CHECK(s.counts.accepts == 3);
  CHECK(s.counts.static_accepts == 2);
  REQUIRE(s.unlifted.size() == 3);  // S1, S2, S5
  CHECK(s.unlifted[0].in_force.id == stuck);
  CHECK(s.unlifted[0].newest.id == later);
  // The values of a pack are those of the attempt that is in force.
  CHECK(s.figures.at(0).series.n() == 7);
  CHECK(s.figures.at(0).series.highest().at(0).value == 13.9);
}

TEST_CASE("a person's decision counts where it is worse than what was measured") {
  const auto ledger = Ledger::open(":memory:");
  const auto decided = [&](const std::string& serial, const std::string& verdict,
                           const std::vector<std::string>& decisions) {
    const std::string id = add(*ledger, "L", serial, {13}, verdict);
    for (const std::string& d : decisions) ledger->override_verdict(id, {d, "Ines", "rust", ""});
  };
  decided("S1", "accept", {"reject"});
  decided("S2", "accept", {"hold"});
  decided("S3", "reject", {"accept"});
  decided("S4", "accept", {"hold", "accept"});  // the newest counts
  decided("S5", "accept", {});
  const LotCounts c = study(*ledger).counts;
  CHECK(c.rejects == 2);
  CHECK(c.holds == 1);
  CHECK(c.accepts == 2);
  CHECK(c.first_accepts == 2);
  CHECK(c.overridden == 4);
  CHECK(worse("accept", "hold") == "hold");
  CHECK(worse("reject", "hold") == "reject");
  CHECK(worse("accept", "") == "accept");
}

TEST_CASE("a pack that was put on hold is counted so, and not asked for again") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(8);
  std::string id;
  for (int k = 0; k < 20; ++k) {
    auto ohm = draw(random);
    if (k == 7) ohm[3] = 12.3;
    const std::string one = add(*ledger, "L", "S" + std::to_string(k), ohm);
    if (k == 7) id = one;
  }
  const auto held = [&] {
    for (const auto& o : study(*ledger).outliers)
      if (o.attempt.id == id) return o.hold;
    return false;
  };
  CHECK(held());
  ledger->override_verdict(id, {"hold", "Ines", "stands out", ""});
  CHECK_FALSE(held());
  CHECK(says(study(*ledger), "S7", "Coil D"));
  CHECK(study(*ledger).counts.holds == 1);
}

TEST_CASE("packs within limits that stand out are named, and by what") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(2);
  for (int k = 0; k < 60; ++k) {
    auto ohm = draw(random);
    if (k == 17) ohm[1] += 0.25;  // against its own coils
    if (k == 31)
      for (double& v : ohm) v += 0.65;  // a spool of its own
    if (k == 44) ohm[3] = 12.3;
    add(*ledger, "L", "S" + std::to_string(k), ohm);
  }
  const LotStudy s = study(*ledger);
  CHECK(s.no_distance.empty());
  CHECK(says(s, "S17", "Coil B"));
  CHECK(says(s, "S17", "unlike the others'"));
  CHECK_FALSE(says(s, "S17", "this lot's own"));  // each coil by itself is nothing unusual
  CHECK(says(s, "S31", "lies outside this lot's own"));
  CHECK(says(s, "S44", "Coil D"));
  std::set<std::string> named;
  for (const auto& o : s.outliers) {
    named.insert(o.attempt.serial);
    CHECK(o.hold);
  }
  CHECK(named == std::set<std::string>{"S17", "S31", "S44"});
}

TEST_CASE("good lots are seldom called unusual") {
  std::mt19937_64 random(3);
  int held = 0;
  constexpr int kLots = 400;
  for (int lot = 0; lot < kLots; ++lot) {
    const auto ledger = Ledger::open(":memory:");
    for (int k = 0; k < 50; ++k) add(*ledger, "L", "S" + std::to_string(k), draw(random));
    const LotStudy s = study(*ledger);
    held += !s.outliers.empty();
  }
  MESSAGE(held << " of " << kLots << " good lots with a pack that stands out");
  // Two tests of one per cent each and the part average limits: about 10 of 400; 21 or more have
  // a chance of 1 in 1000.
  CHECK(held <= 20);
}

TEST_CASE("against the lots before: a step of the mean, and limits that this lot hides") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(4);
  for (const char* lot : {"W1", "W2", "W3", "W4"})
    for (int k = 0; k < 40; ++k) add(*ledger, lot, lot + std::to_string(k), draw(random));
  for (int k = 0; k < 40; ++k) add(*ledger, "L", "S" + std::to_string(k), draw(random, 13.6));
  const LotStudy s = study(*ledger);
  CHECK(s.previous_lot == "W4");
  CHECK(s.static_lots.size() == 4);
  REQUIRE(s.figures.at(0).shift);
  CHECK(s.figures.at(0).shift->shift == doctest::Approx(0.6).epsilon(0.1));
  CHECK(s.figures.at(0).shift->p < 1e-9);
  // Nothing unusual inside the lot; against the others all of it is.
  CHECK(says(s, "S5", "of the lots before"));
  CHECK(study(*ledger, "W4").outliers.empty());
  CHECK(study(*ledger, "W2").static_lots.empty());  // two lots before it: too few
}

TEST_CASE("drift along the lot, and values that do not differ at all") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(5);
  for (int k = 0; k < 40; ++k) {
    auto ohm = draw(random);
    ohm[0] += 0.006 * k, ohm[2] = 13;
    add(*ledger, "L", "S" + std::to_string(k), ohm);
  }
  const LotStudy s = study(*ledger);
  CHECK(s.figures.at(0).drift.p < 1e-4);
  CHECK(s.figures.at(0).drift.over_lot == doctest::Approx(0.006 * 39).epsilon(0.35));
  CHECK_FALSE(s.figures.at(2).capability.has_value());
  CHECK(std::isinf(s.figures.at(2).dynamic_limits.high));  // no spread, nothing to judge by
  CHECK(s.outliers.empty());
}

TEST_CASE("small lots say what they cannot tell; no lot is an error") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(6);
  for (int k = 0; k < 6; ++k) add(*ledger, "L", "S" + std::to_string(k), draw(random));
  CHECK(study(*ledger).no_distance.find("are needed") != std::string::npos);
  CHECK_THROWS_WITH_AS(study(*ledger, "none"), doctest::Contains("no inspected pack"), Error);
}

TEST_CASE("a large lot is sampled for its quartiles, but every pack is looked at") {
  const auto ledger = Ledger::open(":memory:");
  std::mt19937_64 random(7);
  for (int k = 0; k < 900; ++k) {
    auto ohm = draw(random);
    if (k == 701) ohm[3] = 12.3;
    add(*ledger, "L", "S" + std::to_string(k), ohm);
  }
  LotAsked asked;
  asked.lot = "L", asked.sample = 100;
  const LotStudy s = study_lot(*ledger, asked);
  CHECK(s.sampled == 100);
  CHECK(s.figures.at(0).series.n() == 900);
  CHECK(says(s, "S701", "Coil D"));
}
