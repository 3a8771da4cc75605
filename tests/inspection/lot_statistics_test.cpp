// The study of a lot: what stands out, against itself and against the lots before.
#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <set>

#include "inspection/lots.h"
#include "quantity/error.h"

using namespace pinproof;
using namespace pinproof::lot;
using record::Ledger;

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
