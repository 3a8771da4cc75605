// Which packs limits are learned from: none that is rejected, whatever was tried since.
#include "session/learn_packs.h"

#include <doctest/doctest.h>

using namespace pinproof;
using record::Ledger;

namespace {

std::string add(Ledger& ledger, const std::string& serial, const std::string& verdict,
                const std::string& level, const std::string& ended = "complete",
                const std::string& decided = "") {
  record::Header h;
  h.profile_name = "six", h.profile_hash = "c0ffee", h.lot = "L", h.serial = serial;
  h.started_at = "2026-11-02T08:15:00Z";
  std::string id = ledger.begin(h, "{}");
  record::Judged judged;
  judged.verdict = verdict, judged.level = level, judged.profile_hash = "c0ffee";
  ledger.close(id, ended, judged);
  if (!decided.empty()) ledger.override_verdict(id, {decided, "Ines", "burnt", ""});
  return id;
}

session::Packs packs_of(const Ledger& ledger) {
  session::Packs out(ledger, "six");
  out.add({.lots = {"L"}, .serials = {}, .records = {}});
  return out;
}

}  // namespace

TEST_CASE("a full accept that a person rejected is not good by a static accept since") {
  const auto ledger = Ledger::open(":memory:");
  add(*ledger, "S1", "accept", "full", "complete", "reject"),
      add(*ledger, "S1", "accept", "static");
  const std::string good = add(*ledger, "S2", "accept", "full");
  const auto packs = packs_of(*ledger);
  REQUIRE(packs.good.size() == 1);
  CHECK(packs.good[0].id == good);
  CHECK(packs.left_out.at("rejected by a person") == 1);
  CHECK(packs.rejected == 0);  // by a measurement
}

TEST_CASE("a retest that broke off takes a good pack back, and gives no values") {
  const auto ledger = Ledger::open(":memory:");
  add(*ledger, "S1", "accept", "full"), add(*ledger, "S1", "reject", "full", "stopped");
  add(*ledger, "S2", "accept", "full"), add(*ledger, "S2", "hold", "full", "stopped", "hold");
  const std::string good = add(*ledger, "S3", "accept", "full");
  add(*ledger, "S3", "hold", "full", "stopped");  // whoever names it vouches for it
  const auto packs = packs_of(*ledger);
  REQUIRE(packs.good.size() == 1);
  CHECK(packs.good[0].id == good);
  CHECK(packs.left_out.at("rejected") == 1);
  CHECK(packs.left_out.at("on hold since an inspection that broke off") == 1);
  CHECK(packs.rejected == 1);
}
