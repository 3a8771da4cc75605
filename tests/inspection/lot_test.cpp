// The study of a lot: what is counted, and what a pack comes to.
#include <doctest/doctest.h>

#include <random>

#include "inspection/lots.h"
#include "quantity/error.h"

using namespace pinproof;
using namespace pinproof::lot;
using record::Ledger;

TEST_CASE("yields: first pass and final apart, bench faults and stops are no verdict") {
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
  add(*ledger, "L", "S4", draw(random), "hold", "stopped");  // in doubt since
  add(*ledger, "L", "T6", draw(random), "hold", "stopped");  // and judged after that
  add(*ledger, "L", "T6", draw(random), "accept");
  add(*ledger, "L", "", draw(random));
  add(*ledger, "L", "", draw(random), "reject");
  add(*ledger, "M", "S0", draw(random), "reject");  // another lot, the same pack
  const LotCounts c = study(*ledger).counts;
  CHECK(c.packs == 26);
  CHECK(c.attempts == 29);
  CHECK(c.no_verdict == 5);
  CHECK(c.unjudged == 2);
  CHECK(c.retested == 3);
  CHECK(c.no_serial == 2);
  CHECK(c.first_accepts == 23);
  CHECK(c.accepts == 21);
  CHECK(c.rejects == 3);
  CHECK(c.holds == 2);
  CHECK(c.static_accepts == 21);
  CHECK(c.final_yield.low < 21 / 26.0);
  CHECK(c.final_yield.high > 21 / 26.0);
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

TEST_CASE("a retest that broke off rejects or doubts what was accepted before") {
  const auto ledger = Ledger::open(":memory:");
  const auto tried = [&](const std::string& serial, const std::string& verdict,
                         const std::string& ended, const std::string& level = "full",
                         const std::string& decided = "") {
    const std::string id = add(*ledger, "L", serial, {13}, verdict, ended, level);
    if (!decided.empty()) ledger->override_verdict(id, {decided, "Ines", "burnt", ""});
  };
  const auto counts = [&] { return study(*ledger).counts; };
  tried("A1", "accept", "complete"), tried("A1", "reject", "stopped");
  CHECK(counts().rejects == 1);
  tried("A2", "accept", "complete"), tried("A2", "hold", "stopped", "full", "reject");
  CHECK(counts().rejects == 2);
  tried("A3", "accept", "complete"), tried("A3", "hold", "bench-fault", "full", "hold");
  tried("A3", "accept", "complete", "static");  // a person's hold at level full is still there
  tried("A4", "accept", "complete"), tried("A4", "hold", "left");
  tried("A4", "hold", "stopped", "full", "accept");  // a decision never makes an accept
  CHECK(counts().rejects == 2);
  CHECK(counts().holds == 2);
  CHECK(counts().accepts == 0);
  tried("A4", "accept", "complete", "static");  // proven again
  CHECK(counts().accepts == 1);
  tried("A1", "accept", "complete", "static");  // lifts no full reject
  CHECK(counts().rejects == 2);
  tried("A1", "accept", "complete");
  CHECK(counts().rejects == 1);
  tried("A5", "reject", "stopped");  // the only one of this pack
  const LotStudy s = study(*ledger);
  CHECK(s.counts.rejects == 2);
  CHECK(s.counts.packs == 5);
  CHECK(s.counts.unjudged == 0);
  // A verdict of an attempt that broke off counts, its values do not.
  CHECK(s.counts.attempts == 12);
  CHECK(s.counts.no_verdict == 2);
  CHECK(s.counts.first_accepts == 4);
}

TEST_CASE("what breaks off makes a pack's standing worse, never better") {
  using One = Standing::One;
  Standing one;
  one.add(One{1, "reject", "full"});
  CHECK(one.add_broken_off({2, "hold", "full"}, "hold"));
  CHECK(one.in_force().verdict == "reject");
  one.add(One{3, "accept", "static"});
  CHECK(one.in_force().verdict == "reject");
  one.add(One{4, "accept", "full"});
  CHECK(one.in_force().verdict == "accept");
  CHECK_FALSE(one.add_broken_off({5, "hold", "static"}, ""));
  CHECK(one.in_force().verdict == "hold");
  CHECK(one.in_force().number == 4);
  one.add(One{6, "reject", "static"});
  CHECK(one.add_broken_off({7, "hold", "full"}, "hold"));
  CHECK(one.in_force().verdict == "reject");
  one.add(One{8, "accept", "static"});
  CHECK(one.in_force().verdict == "hold");  // of 7
  Standing none;
  CHECK_FALSE(none.add_broken_off({1, "hold", "full"}, ""));
  CHECK_FALSE(none.any());
}

TEST_CASE("a lot of which one pack only was rejected, by an attempt that broke off, is a lot") {
  const auto ledger = Ledger::open(":memory:");
  add(*ledger, "L", "A1", {9.3}, "reject", "stopped", "full");
  CHECK(study(*ledger).counts.rejects == 1);
}

TEST_CASE("what a pack came to in other lots, or in none, is in force in this one") {
  const auto ledger = Ledger::open(":memory:");
  const auto tried = [&](const std::string& lot, const std::string& serial,
                         const std::string& verdict, const std::string& level = "full",
                         const std::string& ended = "complete") {
    return add(*ledger, lot, serial, {13}, verdict, ended, level);
  };
  const std::string bad = tried("W48", "X1", "reject");
  tried("", "X2", "hold");
  tried("W48", "X3", "reject"), tried("W48", "X3", "accept");
  for (const char* serial : {"X1", "X2", "X3", "X4", "X5"})
    tried("W49", serial, "accept", "static");
  tried("W50", "X4", "reject", "static");        // newer
  tried("", "X5", "reject", "full", "stopped");  // newer, broken off
  add(*ledger, "W48", "X6", {13}, "reject", "complete", "full", "six-speed");
  tried("W49", "X6", "accept");  // another kind of pack
  tried("W48", "", "reject"), tried("W49", "", "accept");
  const LotStudy s = study(*ledger, "W49");
  CHECK(s.counts.packs == 7);
  CHECK(s.counts.rejects == 3);  // X1, X4, X5
  CHECK(s.counts.holds == 1);
  CHECK(s.counts.accepts == 3);
  REQUIRE(s.unlifted.size() == 2);
  CHECK(s.unlifted[0].in_force.id == bad);
  // What is counted and measured is of this lot.
  CHECK(s.counts.attempts == 7);
  CHECK(s.counts.no_verdict == 0);
  CHECK(s.counts.first_accepts == 7);
  CHECK(s.counts.retested == 0);
  CHECK(s.sampled == 7);
  CHECK(s.figures.at(0).series.n() == 7);
  CHECK(s.profile_hashes == std::vector<std::string>{"c0ffee"});
  tried("W51", "X1", "accept"), tried("", "X2", "accept");
  CHECK(study(*ledger, "W49").counts.rejects == 2);
  CHECK(study(*ledger, "W49").counts.holds == 0);
  CHECK(study(*ledger, "W48").counts.rejects == 2);  // X6 and the one without a serial
}

TEST_CASE("a person's decision on an attempt of another lot counts") {
  const auto ledger = Ledger::open(":memory:");
  const std::string id = add(*ledger, "W48", "X1", {13}, "accept", "complete", "full");
  ledger->override_verdict(id, {"reject", "Ines", "burnt", ""});
  add(*ledger, "W49", "X1", {13});
  const LotCounts c = study(*ledger, "W49").counts;
  CHECK(c.rejects == 1);
  CHECK(c.overridden == 1);
}

TEST_CASE("an older accept of another lot judges no pack that this lot has not judged") {
  const auto ledger = Ledger::open(":memory:");
  const auto open = [&](const std::string& serial) {
    record::Header h;
    h.profile_name = "ferry yard five-speed", h.profile_hash = "c0ffee", h.lot = "L";
    h.serial = serial, h.started_at = "2026-11-02T08:15:00Z";
    ledger->begin(h, "{}");
  };
  add(*ledger, "L", "X0", {13});
  add(*ledger, "M", "X1", {13}), open("X1");
  open("X2"), add(*ledger, "M", "X2", {13});  // since
  add(*ledger, "M", "X3", {13}, "reject"), open("X3");
  add(*ledger, "M", "X4", {13}), add(*ledger, "L", "X4", {13}, "hold", "stopped");
  const LotCounts c = study(*ledger).counts;
  CHECK(c.unjudged == 1);
  CHECK(c.packs == 4);
  CHECK(c.accepts == 2);
  CHECK(c.rejects == 1);
  CHECK(c.holds == 1);
}

TEST_CASE("one serial on two kinds of pack is two packs") {
  const auto ledger = Ledger::open(":memory:");
  add(*ledger, "L", "7", {13}, "reject", "complete", "full", "six-speed");
  add(*ledger, "L", "7", {13}, "accept", "complete", "full");
  CHECK(study(*ledger).counts.packs == 2);
  CHECK(study(*ledger).counts.rejects == 1);
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
