// What a ledger is asked.
#include <algorithm>
#include <cmath>
#include <limits>
#include <unordered_map>

#include "quantity/characters.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "record/json.h"
#include "record/ledger.h"
#include "record/ledger_parts.h"

namespace pinproof::record {
namespace {

constexpr const char* kColumns =
    "a.number, a.id, a.serial, a.lot, a.profile_name, a.profile_hash, a.bench, a.started_at, "
    "a.program, a.ended, a.verdict, a.why, a.level, a.overrides, a.owner";

Attempt attempt_of(const Row& row) {
  Attempt out;
  out.number = row.whole(0);
  std::string* const texts[] = {&out.id,           &out.serial,  &out.lot,        &out.profile_name,
                                &out.profile_hash, &out.bench,   &out.started_at, &out.program,
                                &out.ended,        &out.verdict, &out.why,        &out.level};
  int column = 0;
  for (std::string* text : texts) *text = row.text(++column);
  out.closed = !out.ended.empty();
  out.overrides = static_cast<std::size_t>(row.whole(13));
  out.running = !out.closed && still_runs(std::string(row.text(14)));
  return out;
}

// What is typed in may be no text; in the tables it is.
std::string asked_key(const std::string& name) { return key_of(clean_text(name)); }

// A search as SQL, one condition a field that is asked for.
struct Conditions {
  std::string sql;
  std::vector<Value> values;
  void add(const std::string& what, const std::string& value) {
    if (value.empty()) return;
    values.emplace_back(value);
    std::string condition = what;
    condition.replace(condition.find('?'), 1, "$" + std::to_string(values.size()));
    sql += (sql.empty() ? " WHERE " : " AND ") + condition;
  }
};

// Compares so much of a column as was asked for; how texts of unlike lengths sort depends on the
// database's language.
std::string beginning(const std::string& column, const char* how, const std::string& text) {
  return "substr(" + column + ", 1, " + std::to_string(text.size()) + ") " + how + " ?";
}

Interval limit_of(const Row& row, int low, int high) {
  constexpr double kNone = std::numeric_limits<double>::infinity();
  return {row.empty(low) ? -kNone : row.number(low), row.empty(high) ? kNone : row.number(high)};
}

Figure figure_kind_of(const Row& row, int first) {
  Figure out;
  out.check = row.text(first), out.subject = row.text(first + 1);
  out.aspect = row.text(first + 2), out.title = row.text(first + 3);
  out.unit = unit_from_file_name(row.text(first + 4)).value_or(Unit::none);
  out.limit = limit_of(row, first + 5, first + 6);
  return out;
}

// What differs in its title only is one kind: the first.
std::unordered_map<std::int64_t, std::int64_t> one_kind_an_id(
    const std::vector<std::pair<std::int64_t, Figure>>& kinds) {
  std::unordered_map<std::string, std::int64_t> first;
  std::unordered_map<std::int64_t, std::int64_t> out;
  for (const auto& [kind, figure] : kinds)
    out.emplace(kind, first.emplace(kind_name(figure), kind).first->second);
  return out;
}

constexpr const char* kKind = "k.check_name, k.subject, k.aspect, k.title, k.unit, k.low, k.high";

}  // namespace

std::vector<Attempt> Ledger::find(const LedgerQuery& search) const {
  Conditions where;
  constexpr std::size_t kWhole = 26;  // letters of an id; fewer are its beginning
  where.add(search.id.size() == kWhole ? "a.id = ?" : beginning("a.id", "=", search.id), search.id);
  where.add("a.serial = ?", asked_key(search.serial));
  where.add("a.lot = ?", asked_key(search.lot));
  where.add("a.verdict = ?", search.verdict);
  where.add("a.profile_name = ?", search.profile);
  where.add("a.bench = ?", search.bench);
  // "2026-11-02" is that whole day.
  where.add(beginning("a.started_at", ">=", search.from), search.from);
  where.add(beginning("a.started_at", "<=", search.to), search.to);
  where.add("EXISTS (SELECT 1 FROM findings f WHERE f.attempt = a.number AND f.kind = ?)",
            search.finding);
  if (search.open_only)
    where.sql += where.sql.empty() ? " WHERE a.ended = ''" : " AND a.ended = ''";
  std::string sql = std::string("SELECT ") + kColumns + " FROM attempts a" + where.sql +
                    " ORDER BY a.number DESC";
  if (search.at_most > 0) sql += " LIMIT " + std::to_string(search.at_most);
  std::vector<Attempt> out;
  store_->each(sql, where.values, [&](const Row& row) { out.push_back(attempt_of(row)); });
  std::reverse(out.begin(), out.end());
  for (Attempt& attempt : out) name_in_full(attempt);
  for (Attempt& attempt : out)
    if (attempt.overrides > 0)
      if (auto all = overrides(attempt.id); !all.empty()) attempt.overridden = all.back();
  return out;
}

// A key that is not its header's stays: who looks sees that it was changed.
void Ledger::name_in_full(Attempt& attempt) const {
  if (!is_shortened(attempt.serial) && !is_shortened(attempt.lot)) return;
  Header header;
  store_->each("SELECT header FROM attempts WHERE number = $1", {attempt.number},
               [&](const Row& row) { header = header_from_json(row.text(0), attempt.id); });
  if (key_of(header.serial) == attempt.serial) attempt.serial = header.serial;
  if (key_of(header.lot) == attempt.lot) attempt.lot = header.lot;
}

Attempt Ledger::attempt(const std::string& beginning) const {
  std::string id = beginning;
  for (char& c : id)
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
  LedgerQuery search;
  search.id = id;
  search.at_most = 2;
  auto found = id.empty() ? std::vector<Attempt>() : find(search);
  if (found.empty()) throw Error(Fault::usage, name() + ": no record \"" + beginning + "\"");
  if (found.size() > 1 && found.front().id != id)
    throw Error(Fault::usage,
                name() + ": several records begin with \"" + beginning + "\": give more of the id");
  return found.front();
}

Record Ledger::load_where(const std::string& id, const char* condition) const {
  Record out;
  const std::int64_t number = number_of(id);
  store_->each("SELECT header FROM attempts WHERE number = $1", {number}, [&](const Row& row) {
    out.header = header_from_json(row.text(0), name() + " " + id);
  });
  store_->each(
      std::string("SELECT body FROM events WHERE attempt = $1") + condition + " ORDER BY number",
      {number}, [&](const Row& row) {
        out.events.push_back(event_from_json(row.text(0), name() + " " + id));
      });
  return out;
}

Record Ledger::load(const std::string& id) const { return load_where(id, ""); }

Record Ledger::load_readings(const std::string& id) const {
  return load_where(id, " AND substr(body, 1, 15) = '{\"event\":\"read\"'");
}

std::vector<Figure> Ledger::figures(const std::string& id) const {
  std::vector<Figure> out;
  store_->each(std::string("SELECT ") + kKind +
                   ", f.value, f.u, f.outcome FROM figures f JOIN figure_kinds k ON k.kind = "
                   "f.kind WHERE f.attempt = $1 ORDER BY f.kind",
               {number_of(id)}, [&](const Row& row) {
                 Figure figure = figure_kind_of(row, 0);
                 if (!row.empty(7)) figure.value = row.number(7);
                 figure.u = row.number(8), figure.outcome = row.text(9);
                 out.push_back(std::move(figure));
               });
  return out;
}

// By the time of a decision: what is handed over from another bench may come late.
std::vector<Override> Ledger::overrides(const std::string& id) const {
  std::vector<Override> out;
  store_->each(
      "SELECT body, at FROM entries WHERE attempt = $1 AND kind = 'overridden' ORDER BY at, number",
      {id}, [&](const Row& row) { out.push_back(read_override(row.text(0), row.text(1))); });
  return out;
}

std::vector<Judged> Ledger::judgements(const std::string& id) const {
  std::vector<Judged> out;
  FiguresHash hash;
  store_->each(
      "SELECT body FROM entries WHERE attempt = $1 AND kind = 'judged' ORDER BY at, number", {id},
      [&](const Row& row) { out.push_back(read_judged(row.text(0), hash)); });
  return out;
}

std::string Ledger::profile_json(const std::string& hash) const {
  std::string out;
  store_->each("SELECT json FROM profiles WHERE hash = $1", {hash},
               [&](const Row& row) { out = row.text(0); });
  if (!out.empty() && sha256_hex(out) != hash)
    throw Error(Fault::usage,
                name() + ": the profile " + hash.substr(0, 12) + " that is kept in it was changed");
  return out;
}

std::vector<std::pair<std::int64_t, Figure>> Ledger::figure_kinds() const {
  std::vector<std::pair<std::int64_t, Figure>> out;
  store_->each(std::string("SELECT k.kind, ") + kKind + " FROM figure_kinds k ORDER BY k.kind", {},
               [&](const Row& row) { out.emplace_back(row.whole(0), figure_kind_of(row, 1)); });
  return out;
}

// Numbers are taken apart before rows are read: of most lots no serial was seen elsewhere, and the
// indices alone tell that.
void Ledger::each_outcome(const std::string& lot,
                          const std::function<void(const AttemptOutcome&)>& f, Lots lots) const {
  const std::string columns =
      "SELECT number, serial, ended, verdict, level, profile_hash, overrides, ";
  std::string sql = columns + "0 AS elsewhere FROM attempts WHERE lot = $1";
  if (lots == Lots::all)
    sql += " UNION ALL " + columns +
           "1 AS elsewhere FROM attempts WHERE number IN (SELECT number FROM attempts WHERE serial "
           "IN (SELECT serial FROM attempts WHERE lot = $1 AND serial <> '') EXCEPT SELECT number "
           "FROM attempts WHERE lot = $1)";
  store_->each(sql + " ORDER BY serial, number", {asked_key(lot)}, [&](const Row& row) {
    f({row.whole(0), row.text(1), row.text(2), row.text(3), row.text(4), row.text(5),
       row.whole(6) > 0, row.whole(7) > 0});
  });
}

std::vector<std::string> Ledger::lots_before(const std::string& profile_name, std::int64_t number,
                                             std::size_t at_most) const {
  std::vector<std::int64_t> firsts;
  store_->each(
      "SELECT first FROM (SELECT lot, min(number) AS first FROM attempts WHERE profile_name = "
      "$1 AND lot <> '' AND ended = 'complete' GROUP BY lot) AS lots WHERE first < $2 ORDER BY "
      "first DESC "
      "LIMIT " +
          std::to_string(at_most),
      {profile_name, number}, [&](const Row& row) { firsts.push_back(row.whole(0)); });
  std::vector<std::string> out;
  out.reserve(firsts.size());
  for (const std::int64_t first : firsts) out.push_back(attempt(first).lot);
  return out;
}

Attempt Ledger::attempt(std::int64_t number) const {
  std::string id;
  store_->each("SELECT id FROM attempts WHERE number = $1", {number},
               [&](const Row& row) { id = row.text(0); });
  return attempt(id);
}

void Ledger::scan_figures(const std::string& lot, std::int64_t every,
                          const std::function<void(const Scanned&)>& on_figure) const {
  std::int64_t first = 0, last = -1, count = 0, between = 0;
  store_->each("SELECT min(number), max(number), count(*) FROM attempts WHERE lot = $1",
               {asked_key(lot)}, [&](const Row& row) {
                 count = row.whole(2);
                 if (count > 0) first = row.whole(0), last = row.whole(1);
               });
  store_->each("SELECT count(*) FROM attempts WHERE number BETWEEN $1 AND $2", {first, last},
               [&](const Row& row) { between = row.whole(0); });
  // A lot that stands in one piece is read in one piece.
  std::vector<Value> values{first, last};
  std::string sql =
      "SELECT f.attempt, f.kind, f.value FROM figures f WHERE f.attempt BETWEEN $1 AND $2";
  if (between > count || every > 1) {
    values = {asked_key(lot)};
    // By the place in the lot: numbers are the whole ledger's, and lots may be written in turn.
    sql =
        "SELECT f.attempt, f.kind, f.value FROM (SELECT number, ROW_NUMBER() OVER (ORDER BY "
        "number) AS place FROM attempts WHERE lot = $1) a JOIN figures f ON f.attempt = a.number "
        "WHERE a.place % " +
        std::to_string(every) + " = 0";
  }
  sql += " ORDER BY f.attempt, f.kind";
  const auto kinds = one_kind_an_id(figure_kinds());
  store_->each(sql, values, [&](const Row& row) {
    on_figure({row.whole(0), kinds.at(row.whole(1)), row.empty(2) ? std::nan("") : row.number(2)});
  });
}

}  // namespace pinproof::record
