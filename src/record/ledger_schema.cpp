#include "record/ledger_schema.h"

#include <cmath>
#include <span>
#include <string>
#include <vector>

#include "quantity/error.h"
#include "quantity/text.h"
#include "record/ledger.h"
#include "record/ledger_parts.h"
#include "record/store.h"
#include "record/words_0_1_0.h"

namespace pinproof::record {
namespace {

constexpr const char* kRecords[] = {
    // What there is one of: the schema's version, the chain's head.
    "CREATE TABLE ledger (key TEXT PRIMARY KEY, value TEXT NOT NULL) $strict",
    "INSERT INTO ledger VALUES ('schema', '0'), ('head', ''), ('entries', '0')",
    "CREATE TABLE profiles (hash TEXT PRIMARY KEY, name TEXT NOT NULL, json TEXT NOT NULL) $strict",
    ("CREATE TABLE attempts (number $serial PRIMARY KEY, id TEXT NOT NULL UNIQUE, "
     "serial TEXT NOT NULL, lot TEXT NOT NULL, profile_name TEXT NOT NULL, "
     "profile_hash TEXT NOT NULL, bench TEXT NOT NULL, started_at TEXT NOT NULL, "
     "program TEXT NOT NULL, header TEXT NOT NULL, owner TEXT NOT NULL, "
     "ended TEXT NOT NULL DEFAULT '', verdict TEXT NOT NULL DEFAULT '', "
     "level TEXT NOT NULL DEFAULT '', why TEXT NOT NULL DEFAULT '', "
     "overrides $whole NOT NULL DEFAULT 0) $strict"),
    "CREATE INDEX attempts_serial ON attempts (serial)",
    "CREATE INDEX attempts_lot ON attempts (lot, number)",
    // All that the yield of a lot needs, so that the wide rows are not read for it.
    ("CREATE INDEX attempts_yield ON attempts (lot, serial, number, ended, verdict, level, "
     "overrides, profile_hash)"),
    "CREATE INDEX attempts_started ON attempts (started_at)",
    ("CREATE TABLE events (attempt $whole NOT NULL REFERENCES attempts, number $whole NOT NULL, "
     "body TEXT NOT NULL, hash TEXT NOT NULL, PRIMARY KEY (attempt, number)) WITHOUT ROWID, "
     "$strict"),
    ("CREATE TABLE entries (number $whole PRIMARY KEY, id TEXT NOT NULL UNIQUE, "
     "attempt TEXT NOT NULL, kind TEXT NOT NULL, at TEXT NOT NULL, body TEXT NOT NULL, "
     "hash TEXT NOT NULL) $strict"),
    "CREATE INDEX entries_attempt ON entries (attempt)",
    ("CREATE TABLE sent (id TEXT NOT NULL, destination TEXT NOT NULL, entries $whole NOT NULL, "
     "PRIMARY KEY (id, destination)) WITHOUT ROWID, $strict")};

// Drawn from the judgements, for searches and lots; older attempts get theirs when they are judged
// again.
constexpr const char* kFigures[] = {
    ("CREATE TABLE figure_kinds (kind $serial PRIMARY KEY, named TEXT NOT NULL UNIQUE, "
     "check_name TEXT NOT NULL, subject TEXT NOT NULL, title TEXT NOT NULL, unit TEXT NOT NULL, "
     "low $real, high $real) $strict"),
    ("CREATE TABLE figures (attempt $whole NOT NULL REFERENCES attempts, kind $whole NOT NULL, "
     "value $real, u $real NOT NULL, outcome TEXT NOT NULL, PRIMARY KEY (attempt, kind)) "
     "WITHOUT ROWID, $strict"),
    ("CREATE TABLE findings (attempt $whole NOT NULL REFERENCES attempts, kind TEXT NOT NULL, "
     "part TEXT NOT NULL, PRIMARY KEY (attempt, kind, part)) WITHOUT ROWID, $strict"),
    "CREATE INDEX findings_kind ON findings (kind, attempt)"};

constexpr const char* kFigureIds[] = {
    "ALTER TABLE figure_kinds ADD COLUMN aspect TEXT NOT NULL DEFAULT ''"};

// Figures of version 0.1.0 were found by their titles, which stay: its entries' hashes cover them.
void give_ids(Store& store) {
  std::vector<std::pair<std::int64_t, Figure>> kinds;
  store.each("SELECT kind, check_name, subject, title, low, high FROM figure_kinds ORDER BY kind",
             {}, [&](const Row& row) {
               Figure f;
               f.check = row.text(1), f.subject = row.text(2), f.title = row.text(3);
               f.aspect = aspect_of_0_1_0(f.check, f.subject, f.title);
               f.limit = {row.empty(4) ? -INFINITY : row.number(4),
                          row.empty(5) ? INFINITY : row.number(5)};
               kinds.emplace_back(row.whole(0), std::move(f));
             });
  for (const auto& [kind, f] : kinds)
    store.run("UPDATE figure_kinds SET aspect = $1, named = $2 WHERE kind = $3",
              {f.aspect, kind_name(f, true), kind});
}

struct SchemaStep {
  std::span<const char* const> sql;
  void (*then)(Store& store);  ///< null: nothing more
};

// The one table of versions: step k leads from version k to k + 1.
constexpr SchemaStep kSteps[] = {{kRecords, nullptr}, {kFigures, nullptr}, {kFigureIds, give_ids}};

// 0: nothing here yet.
std::size_t version_of(Store& store) {
  std::string version = "0";
  const char* tables = is_server(store.name())
                           ? "SELECT table_name FROM information_schema.tables WHERE "
                             "table_schema = current_schema()"
                           : "SELECT name FROM sqlite_master WHERE type = 'table'";
  bool ours = false, others = false;
  store.each(tables, {}, [&](const Row& row) {
    ours = ours || row.text(0) == "ledger";
    others = true;
  });
  if (others && !ours)
    throw Error(Fault::usage, store.name() + ": a database of something else, not a ledger");
  if (ours)
    store.each("SELECT value FROM ledger WHERE key = 'schema'", {},
               [&](const Row& row) { version = row.text(0); });
  return static_cast<std::size_t>(parse_number(version).value_or(1e6));
}

}  // namespace

void bring_up_to_date(Store& store) {
  const std::size_t newest = std::size(kSteps);
  if (version_of(store) == newest) return;
  Transaction transaction(store);
  // Several benches may start at once.
  if (is_server(store.name())) store.run("SELECT pg_advisory_xact_lock(7046295)");
  const std::size_t version = version_of(store);
  if (version > newest)
    throw Error(Fault::usage, store.name() + ": a ledger of a newer program (schema " +
                                  std::to_string(version) + ", this one knows " +
                                  std::to_string(newest) + ")");
  for (std::size_t step = version; step < newest; ++step) {
    for (const char* sql : kSteps[step].sql) store.run(store.own_types(sql));
    if (kSteps[step].then) kSteps[step].then(store);
  }
  // What tells this ledger from another one at the same address.
  if (version == 0) store.run("INSERT INTO ledger VALUES ('identity', $1)", {new_id()});
  store.run("UPDATE ledger SET value = $1 WHERE key = 'schema'", {std::to_string(newest)});
  transaction.commit();
}

}  // namespace pinproof::record
