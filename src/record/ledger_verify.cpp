// The ledger as a whole: whether anything was changed, and its way into another ledger.
#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "record/json.h"
#include "record/ledger.h"
#include "record/ledger_parts.h"

namespace pinproof::record {
namespace {

/// What the entries say of an attempt.
struct AttemptAccount {
  std::string header_hash;  ///< empty: no entry of its beginning
  std::optional<Closed> closed;
  std::optional<Judged> judged;
  std::string judged_at;
  FiguresHash figures;
  std::size_t overrides = 0;
};

/// Hands its problems out one by one, up to a number that a person reads.
class Problems {
 public:
  explicit Problems(std::vector<std::string>& out) : out_(out) {}
  void add(std::string what) {
    constexpr std::size_t kMost = 1000;  // nobody reads more
    if (out_.size() < kMost) out_.push_back(std::move(what));
  }

 private:
  std::vector<std::string>& out_;
};

void tell(const Parcel::LedgerEntry& entry, AttemptAccount& told) {
  if (entry.kind == "begun") told.header_hash = header_hash(entry.body);
  if (entry.kind == "closed") told.closed = read_closed(entry.body);
  if (entry.kind == "judged" && entry.at >= told.judged_at)
    told.judged = read_judged(entry.body, told.figures), told.judged_at = entry.at;
  if (entry.kind == "overridden") ++told.overrides;
}

bool begins_as(const Attempt& row, const Header& header) {
  return std::tie(header.id, header.serial, header.lot, header.profile_name, header.profile_hash,
                  header.bench_name,
                  header.started_at) == std::tie(row.id, row.serial, row.lot, row.profile_name,
                                                 row.profile_hash, row.bench, row.started_at);
}

bool judged_as(const Attempt& row, const Judged& judged) {
  return std::tie(judged.verdict, judged.level, judged.why) ==
         std::tie(row.verdict, row.level, row.why);
}

void compare_row(const Attempt& row, std::string_view header, const AttemptAccount& told,
                 Problems& problems) {
  const std::string who = "attempt " + row.id;
  if (told.header_hash.empty()) problems.add(who + ": no entry of its beginning");
  if (!told.header_hash.empty() && told.header_hash != header_hash(header))
    problems.add(who + ": its header is not the one it began with");
  if (!begins_as(row, header_from_json(header, who)))
    problems.add(who + ": serial, lot, profile, bench or time were changed");
  if ((told.closed ? told.closed->ended : "") != row.ended)
    problems.add(who + ": how it ended was changed");
  if (told.judged && !judged_as(row, *told.judged)) problems.add(who + ": its verdict was changed");
  if (!told.judged && !row.verdict.empty()) problems.add(who + ": a verdict that nobody gave");
  if (told.overrides != row.overrides) problems.add(who + ": its overrides were changed");
}

/// The chain of all entries, which come in their order, and what they say of the attempts.
struct EntryChain {
  explicit EntryChain(std::string head) : wanted_head(std::move(head)) {}

  std::string wanted_head;
  bool head_seen = wanted_head.empty();
  std::string before;     ///< hash of the last entry
  std::int64_t last = 0;  ///< its number
  std::size_t entries = 0;
  std::map<std::string, AttemptAccount> told;  ///< by attempt

  void take(const Row& row, Problems& problems) {
    const Parcel::LedgerEntry entry{std::string(row.text(1)), std::string(row.text(3)),
                                    std::string(row.text(4)), std::string(row.text(5))};
    const std::string attempt(row.text(2)), at = std::to_string(row.whole(0));
    if (row.whole(0) != last + 1) problems.add("entry " + at + ": entries before it are missing");
    last = row.whole(0);
    if (entry_hash(before, entry, attempt) != row.text(6))
      problems.add("entry " + at + " (" + entry.kind + " of " + attempt +
                   "): it or what stands before it was changed");
    before = row.text(6);
    head_seen = head_seen || before == wanted_head;
    ++entries;
    try {
      tell(entry, told[attempt]);
    } catch (const std::exception&) {
      problems.add("entry " + at + ": cannot be read");
    }
  }
};

}  // namespace

Verified Ledger::verify(const std::string& wanted_head, const OnAttempt& on_attempt) const {
  // Somebody may be at work: entries and attempts of two moments would look like tampering.
  const Snapshot moment(*store_);
  Verified out;
  Problems problems(out.problems);
  EntryChain chain(wanted_head);
  std::string stored_head;
  store_->each("SELECT value FROM ledger WHERE key = 'head'", {},
               [&](const Row& row) { stored_head = row.text(0); });
  store_->each("SELECT number, id, attempt, kind, at, body, hash FROM entries ORDER BY number", {},
               [&](const Row& row) { chain.take(row, problems); });
  store_->each("SELECT hash, json FROM profiles ORDER BY hash", {}, [&](const Row& row) {
    if (sha256_hex(row.text(1)) != row.text(0))
      problems.add("profile " + std::string(row.text(0)).substr(0, 12) + " was changed");
  });
  if (chain.before != stored_head) problems.add("entries at the end of the ledger are missing");
  out.entries = chain.entries, out.head = chain.before, out.knows_head = chain.head_seen;
  if (!chain.head_seen) problems.add("the chain does not hold the head " + wanted_head);

  std::set<std::string> seen;
  std::vector<std::string> headers;
  store_->each("SELECT id, header FROM attempts ORDER BY number", {},
               [&](const Row& row) { headers.emplace_back(row.text(1)); });
  const auto rows = find({});
  for (std::size_t k = 0; k < rows.size() && k < headers.size(); ++k) {
    const Attempt& row = rows[k];
    if (on_attempt) on_attempt(k, rows.size());
    seen.insert(row.id);
    ++out.attempts;
    out.still_open += !row.closed;
    const AttemptAccount& told = chain.told[row.id];
    try {
      compare_row(row, headers[k], told, problems);
      check_events(row, headers[k], told.closed ? told.closed->hash : "", out);
      if (told.judged && figures_hash(figures(row.id), told.figures.by_title) != told.figures.hash)
        problems.add("attempt " + row.id + ": its figures were changed");
    } catch (const std::exception& e) {
      problems.add("attempt " + row.id + ": cannot be read: " + e.what());
    }
  }
  for (const auto& [id, one] : chain.told)
    if (!seen.contains(id)) problems.add("attempt " + id + " is missing");
  return out;
}

// The chain of an attempt's events, from its header to the hash that it was closed with.
void Ledger::check_events(const Attempt& row, const std::string& header, const std::string& closed,
                          Verified& out) const {
  Problems problems(out.problems);
  std::string before = header_hash(header);
  std::int64_t next = 0;
  bool good = true;
  store_->each("SELECT number, body, hash FROM events WHERE attempt = $1 ORDER BY number",
               {row.number}, [&](const Row& event) {
                 ++out.events;
                 const std::string hash = event_hash(before, event.text(1));
                 if (good && (event.whole(0) != next || hash != event.text(2))) {
                   problems.add("attempt " + row.id + ": event " + std::to_string(next) +
                                ": it or what stands before it was changed");
                   good = false;
                 }
                 ++next, before = event.text(2);
               });
  if (good && !closed.empty() && closed != before)
    problems.add("attempt " + row.id + ": events at its end are missing");
}

void Ledger::back_up(const std::string& path) const {
  if (store_->back_up(path)) return;
  // A server has tools of its own; what comes out here is a ledger in a file.
  const auto copy = open(path);
  for (const Attempt& attempt : find({}))
    if (attempt.closed) copy->receive({parcel(attempt.id)});
}

Parcel Ledger::parcel(const std::string& id) const {
  const Snapshot moment(*store_);
  Parcel out;
  const std::int64_t number = number_of(id);
  store_->each("SELECT header FROM attempts WHERE number = $1", {number}, [&](const Row& row) {
    out.header = header_from_json(row.text(0), name() + " " + id);
  });
  out.profile_json = profile_json(out.header.profile_hash);
  store_->each("SELECT body FROM events WHERE attempt = $1 ORDER BY number", {number},
               [&](const Row& row) { out.bodies.emplace_back(row.text(0)); });
  store_->each("SELECT id, kind, at, body FROM entries WHERE attempt = $1 ORDER BY number", {id},
               [&](const Row& row) {
                 out.entries.push_back({std::string(row.text(0)), std::string(row.text(1)),
                                        std::string(row.text(2)), std::string(row.text(3))});
               });
  out.figures = figures(id);
  return out;
}

bool Ledger::receive(const std::vector<Parcel>& parcels) {
  Transaction transaction(*store_);
  // The head first: who comes at the same time waits here, and never for one another crosswise.
  store_->run("UPDATE ledger SET value = value WHERE key = 'head'");
  bool any = false;
  const Forget forget{kinds_};
  for (const Parcel& parcel : parcels) any = receive_one(parcel) || any;
  transaction.commit();
  return any;
}

bool Ledger::receive_one(const Parcel& parcel) {
  const std::string& id = parcel.header.id;
  const std::string header = header_to_json(parcel.header);
  std::int64_t number = 0;
  store_->each("SELECT number FROM attempts WHERE id = $1", {id},
               [&](const Row& row) { number = row.whole(0); });
  std::set<std::string> known;
  const bool fresh = number == 0;
  std::string hash = header_hash(header);
  if (fresh) {
    insert_attempt(parcel.header, "", parcel.profile_json);
    number = number_of(id);
  } else {
    store_->each("SELECT id FROM entries WHERE attempt = $1", {id},
                 [&](const Row& row) { known.emplace(row.text(0)); });
    refuse_other_readings(parcel, number, hash);
  }
  std::vector<Value> events;
  for (std::size_t k = 0; fresh && k < parcel.bodies.size(); ++k) {
    hash = event_hash(hash, parcel.bodies[k]);
    events.insert(events.end(), {number, static_cast<std::int64_t>(k), parcel.bodies[k], hash});
  }
  insert_rows(*store_, "events", 4, events);
  return receive_entries(parcel, number, known) || fresh;
}

// An id is one inspection: what comes by the same name must be the same.
void Ledger::refuse_other_readings(const Parcel& parcel, std::int64_t number,
                                   const std::string& header) const {
  std::string theirs = header, ours;
  for (const std::string& body : parcel.bodies) theirs = event_hash(theirs, body);
  store_->each("SELECT header FROM attempts WHERE number = $1", {number},
               [&](const Row& row) { ours = header_hash(row.text(0)); });
  store_->each("SELECT hash FROM events WHERE attempt = $1 ORDER BY number DESC LIMIT 1", {number},
               [&](const Row& row) { ours = row.text(0); });
  if (theirs != ours)
    throw Error(Fault::usage,
                name() + ": record " + parcel.header.id + " is here already, with other readings");
}

// The time of an attempt's newest judgement; empty where there is none.
std::string Ledger::judged_at(const std::string& id) const {
  std::string out;
  store_->each("SELECT max(at) FROM entries WHERE attempt = $1 AND kind = 'judged'", {id},
               [&](const Row& row) {
                 if (!row.empty(0)) out = row.text(0);
               });
  return out;
}

// Their order and ids stay; the chain is this ledger's own. A judgement that is older than what is
// here comes late, from another bench: it is kept, and what is newer goes on to count.
bool Ledger::receive_entries(const Parcel& parcel, std::int64_t number,
                             const std::set<std::string>& known) {
  bool any = false;
  std::optional<Judged> newest;
  std::string newest_at = judged_at(parcel.header.id);
  FiguresHash figures;
  for (const Parcel::LedgerEntry& entry : parcel.entries) {
    if (known.contains(entry.id)) continue;
    any = true;
    add_entry(entry, parcel.header.id);
    if (entry.kind == "judged" && entry.at >= newest_at)
      newest = read_judged(entry.body, figures), newest_at = entry.at;
    if (entry.kind == "closed")
      store_->run("UPDATE attempts SET ended = $1, owner = '' WHERE number = $2",
                  {read_closed(entry.body).ended, number});
    if (entry.kind == "overridden")
      store_->run("UPDATE attempts SET overrides = overrides + 1 WHERE number = $1", {number});
  }
  if (newest) {
    newest->figures = parcel.figures;
    draw_figures(number, *newest, figures.by_title);
  }
  return any;
}

std::vector<std::string> Ledger::not_sent(const std::string& destination) const {
  std::vector<std::string> out;
  store_->each(
      "SELECT a.id FROM attempts a LEFT JOIN sent s ON s.id = a.id AND s.destination = $1 WHERE "
      "a.ended <> '' AND (s.entries IS NULL OR s.entries < (SELECT count(*) FROM entries e WHERE "
      "e.attempt = a.id)) ORDER BY a.number",
      {destination}, [&](const Row& row) { out.emplace_back(row.text(0)); });
  return out;
}

void Ledger::mark_sent(const std::string& id, std::size_t entries, const std::string& destination) {
  Transaction transaction(*store_);
  store_->run(
      "INSERT INTO sent VALUES ($1, $2, $3) ON CONFLICT (id, destination) DO UPDATE SET entries = "
      "$3",
      {id, destination, static_cast<std::int64_t>(entries)});
  transaction.commit();
}

}  // namespace pinproof::record
