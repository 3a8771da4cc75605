// Every way to change a ledger behind its back shows.
#include <SQLiteCpp/SQLiteCpp.h>
#include <doctest/doctest.h>

#include "record/attempts.h"

using namespace pinproof;
using namespace pinproof::record;

namespace {

/// Three attempts, one judged again and decided otherwise.
std::string make(const std::string& file) {
  const auto ledger = Ledger::open(file);
  keep(*ledger, header("A1"), 12.9);
  const std::string id = keep(*ledger, header("A2"), 13.0);
  keep(*ledger, header("A3"), 13.1);
  ledger->judge_again(id, accepted(13.0));
  ledger->override_verdict(id, {"hold", "Ines", "shows rust", ""});
  return ledger->verify().head;
}

}  // namespace

TEST_CASE("a change of any table shows, and where") {
  const Folder folder;
  const char* const last_gone =
      "DELETE FROM events WHERE attempt = 3; DELETE FROM figures WHERE attempt = 3; DELETE FROM "
      "attempts WHERE number = 3";
  const char* const one_more =
      "INSERT INTO attempts (id, serial, lot, profile_name, profile_hash, bench, started_at, "
      "program, header, owner, ended, verdict) SELECT 'new', serial, lot, profile_name, "
      "profile_hash, bench, started_at, program, header, owner, ended, verdict FROM attempts "
      "WHERE number = 1";
  const char* const changes[] = {
      "UPDATE attempts SET serial = 'A9' WHERE number = 2",
      "UPDATE attempts SET lot = 'other' WHERE number = 2",
      "UPDATE attempts SET started_at = '2025-11-02T08:15:00Z' WHERE number = 2",
      "UPDATE attempts SET verdict = 'reject' WHERE number = 2",
      "UPDATE attempts SET level = 'full' WHERE number = 2",
      "UPDATE attempts SET ended = 'stopped' WHERE number = 2",
      "UPDATE attempts SET overrides = 0 WHERE number = 2",
      "UPDATE attempts SET header = replace(header, 'A2', 'A9') WHERE number = 2",
      "UPDATE events SET body = replace(body, '13.0', '13.4') WHERE attempt = 2 AND number = 0",
      "UPDATE events SET hash = 'x' WHERE attempt = 2 AND number = 0",
      "DELETE FROM events WHERE attempt = 2 AND number = 0",
      "DELETE FROM events WHERE attempt = 2 AND number = 1",
      "UPDATE events SET number = 7 WHERE attempt = 2 AND number = 1",
      "INSERT INTO events VALUES (2, 2, '{}', 'x')",
      "UPDATE figures SET value = 12.5 WHERE attempt = 2",
      "UPDATE figures SET outcome = 'fail' WHERE attempt = 2",
      "UPDATE figure_kinds SET high = 15",
      "UPDATE profiles SET json = '{ }'",
      "DELETE FROM figures WHERE attempt = 2",
      "UPDATE entries SET body = replace(body, 'Ines', 'Olaf') WHERE kind = 'overridden'",
      "UPDATE entries SET at = 'x' WHERE number = 4",
      "UPDATE entries SET attempt = 'x' WHERE number = 4",
      "DELETE FROM entries WHERE number = 1",
      "DELETE FROM entries WHERE number = 5",
      "DELETE FROM entries WHERE number = (SELECT max(number) FROM entries)",
      last_gone,
      one_more};
  std::size_t k = 0;
  for (const char* change : changes) {
    const std::string file = folder.file(std::to_string(++k));
    make(file);
    REQUIRE(Ledger::open(file)->verify().problems.empty());
    SQLite::Database(file, SQLite::OPEN_READWRITE).exec(change);
    CAPTURE(change);
    CHECK_FALSE(Ledger::open(file)->verify().problems.empty());
  }
}

TEST_CASE("an end cut off with its traces shows against a head that was written down") {
  const Folder folder;
  const std::string file = folder.file("l"), head = make(file);
  {
    const auto ledger = Ledger::open(file);
    keep(*ledger, header("A4"), 13.2);
    const auto grown = ledger->verify(head);  // an earlier head is still inside
    CHECK(grown.knows_head);
    CHECK(grown.problems.empty());
  }
  SQLite::Database db(file, SQLite::OPEN_READWRITE);
  db.exec("DELETE FROM entries WHERE number > 9");
  db.exec(
      "UPDATE ledger SET value = (SELECT hash FROM entries WHERE number = 9) WHERE key = 'head'");
  db.exec("UPDATE ledger SET value = '9' WHERE key = 'entries'");
  db.exec("DELETE FROM events WHERE attempt = 4; DELETE FROM figures WHERE attempt = 4");
  db.exec("DELETE FROM attempts WHERE number = 4; UPDATE attempts SET overrides = 0");
  const auto verified = Ledger::open(file)->verify(head);
  CHECK_FALSE(verified.knows_head);
  CHECK_FALSE(verified.problems.empty());
}
