#include "record/ledger.h"

#include <cmath>

#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "record/json.h"
#include "record/ledger_parts.h"
#include "record/ledger_schema.h"

namespace pinproof::record {
namespace {

Value finite_or_null(double value) { return std::isfinite(value) ? Value(value) : Value(); }

}  // namespace

Ledger::Ledger(std::unique_ptr<Store> store) : store_(std::move(store)) {
  bring_up_to_date(*store_);
}

Ledger::~Ledger() = default;

const std::string& Ledger::name() const { return store_->name(); }

std::string Ledger::identity() const {
  std::string out;
  store_->each("SELECT value FROM ledger WHERE key = 'identity'", {},
               [&](const Row& row) { out = row.text(0); });
  return out;
}

std::unique_ptr<Ledger> Ledger::open(const std::string& where) {
  return std::unique_ptr<Ledger>(new Ledger(open_store(where, Access::write)));
}

std::unique_ptr<Ledger> Ledger::open_existing(const std::string& where) {
  return std::unique_ptr<Ledger>(new Ledger(open_store(where, Access::read)));
}

// The head is locked until the transaction ends, so that entries stand in one row.
void Ledger::add_entry(const Parcel::LedgerEntry& entry, const std::string& attempt) {
  store_->run("UPDATE ledger SET value = value WHERE key = 'head'");
  std::string head, count;
  store_->each("SELECT key, value FROM ledger WHERE key IN ('head', 'entries')", {},
               [&](const Row& row) { (row.text(0) == "head" ? head : count) = row.text(1); });
  const auto number = static_cast<std::int64_t>(parse_number(count).value_or(0)) + 1;
  const std::string hash = entry_hash(head, entry, attempt);
  store_->run("INSERT INTO entries VALUES ($1, $2, $3, $4, $5, $6, $7)",
              {number, entry.id, attempt, entry.kind, entry.at, entry.body, hash});
  store_->run("UPDATE ledger SET value = $1 WHERE key = 'head'", {hash});
  store_->run("UPDATE ledger SET value = $1 WHERE key = 'entries'", {std::to_string(number)});
}

void Ledger::insert_attempt(const Header& header, const std::string& owner,
                            const std::string& profile_json) {
  // By its own hash, whatever the header says: a record that names another is not judged by it.
  if (!profile_json.empty())
    store_->run("INSERT INTO profiles VALUES ($1, $2, $3) ON CONFLICT DO NOTHING",
                {sha256_hex(profile_json), header.profile_name, profile_json});
  store_->run(
      "INSERT INTO attempts (id, serial, lot, profile_name, profile_hash, bench, started_at, "
      "program, header, owner) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
      {header.id, key_of(header.serial), key_of(header.lot), header.profile_name,
       header.profile_hash, header.bench_name, header.started_at, header.program,
       header_to_json(header), owner});
}

std::int64_t Ledger::number_of(const std::string& id) const {
  std::int64_t out = 0;
  store_->each("SELECT number FROM attempts WHERE id = $1", {id},
               [&](const Row& row) { out = row.whole(0); });
  if (out == 0) throw Error(Fault::usage, name() + ": no attempt " + id);
  return out;
}

std::string Ledger::begin(Header& header, const std::string& profile_json) {
  header.id = new_id();
  const std::string text = header_to_json(header);
  // As it will be read back: bytes that are no text are replaced on the way.
  const Header kept = header_from_json(text, name());
  Transaction transaction(*store_);
  insert_attempt(kept, own_process(), profile_json);
  add_entry({new_id(), "begun", utc_text(), text}, header.id);
  const std::int64_t number = number_of(header.id);
  transaction.commit();
  open_.push_back(std::make_unique<Open>(Open{header.id, number, 0, header_hash(text)}));
  return header.id;
}

Ledger::Open& Ledger::open_attempt(const std::string& id) {
  for (const auto& open : open_)
    if (open->id == id) return *open;
  throw Error(Fault::usage, name() + ": attempt " + id + " is not open here");
}

void Ledger::append(const std::string& id, const Event& event) {
  Open& open = open_attempt(id);
  const std::string body = event_to_json(event);
  const std::string hash = event_hash(open.hash, body);
  Transaction transaction(*store_);
  store_->run("INSERT INTO events VALUES ($1, $2, $3, $4)", {open.number, open.events, body, hash});
  transaction.commit();
  ++open.events, open.hash = hash;
}

std::int64_t Ledger::kind_of(const Figure& f, bool by_title) {
  const std::string key = kind_name(f, by_title);
  if (kinds_.empty())
    store_->each("SELECT named, kind FROM figure_kinds", {},
                 [&](const Row& row) { kinds_.emplace(row.text(0), row.whole(1)); });
  if (const auto seen = kinds_.find(key); seen != kinds_.end()) return seen->second;
  std::int64_t out = 0;
  const OnRow take = [&](const Row& row) { out = row.whole(0); };
  store_->run(
      "INSERT INTO figure_kinds (named, check_name, subject, aspect, title, unit, low, high) "
      "VALUES "
      "($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT DO NOTHING",
      {key, f.check, f.subject, f.aspect, f.title, std::string(file_name(f.unit)),
       finite_or_null(f.limit.low), finite_or_null(f.limit.high)});
  store_->each("SELECT kind FROM figure_kinds WHERE named = $1", {key}, take);
  kinds_.emplace(key, out);
  return out;
}

// Figures and findings are drawn from the newest judgement; all judgements stay as entries.
void Ledger::draw_figures(std::int64_t number, const Judged& judged, bool by_title) {
  store_->run("UPDATE attempts SET verdict = $1, level = $2, why = $3 WHERE number = $4",
              {judged.verdict, judged.level, judged.why, number});
  store_->run("DELETE FROM figures WHERE attempt = $1", {number});
  store_->run("DELETE FROM findings WHERE attempt = $1", {number});
  std::vector<Value> figures, findings;
  for (const Figure& f : judged.figures)
    figures.insert(figures.end(), {number, kind_of(f, by_title),
                                   f.value ? Value(*f.value) : Value(), f.u, f.outcome});
  for (const FoundName& f : judged.findings)
    findings.insert(findings.end(), {number, f.kind, f.part});
  insert_rows(*store_, "figures", 5, figures);
  insert_rows(*store_, "findings", 3, findings);
}

void Ledger::note_judged(const std::string& id, std::int64_t number, const Judged& judged) {
  draw_figures(number, judged, false);
  add_entry({new_id(), "judged", utc_text(), judged_body(judged)}, id);
}

void Ledger::close(const std::string& id, const std::string& ended, const Judged& judged) {
  const Open open = open_attempt(id);
  const Forget forget{kinds_};
  Transaction transaction(*store_);
  store_->run("UPDATE attempts SET ended = $1, owner = '' WHERE number = $2", {ended, open.number});
  add_entry({new_id(), "closed", utc_text(), closed_body(ended, open.events, open.hash)}, id);
  note_judged(id, open.number, without_doubles(judged));
  transaction.commit();
  std::erase_if(open_, [&](const auto& one) { return one->id == id; });
}

Record Ledger::resume(const std::string& id) {
  std::string owner, ended;
  {
    Transaction transaction(*store_);
    const std::int64_t number = number_of(id);
    store_->each("SELECT owner, ended FROM attempts WHERE number = $1", {number},
                 [&](const Row& row) { owner = row.text(0), ended = row.text(1); });
    if (!ended.empty()) throw Error(Fault::usage, name() + ": attempt " + id + " is closed");
    if (still_runs(owner) && owner != own_process())
      throw Error(Fault::usage, name() + ": attempt " + id + " is still being worked on (host, " +
                                    "process " + owner.substr(0, owner.rfind(' ')) + ")");
    store_->run("UPDATE attempts SET owner = $1 WHERE number = $2", {own_process(), number});
    transaction.commit();
  }
  Record record = load(id);
  Open open{id, number_of(id), 0, ""};
  store_->each("SELECT header FROM attempts WHERE number = $1", {open.number},
               [&](const Row& row) { open.hash = header_hash(row.text(0)); });
  store_->each("SELECT hash FROM events WHERE attempt = $1 ORDER BY number", {open.number},
               [&](const Row& row) { ++open.events, open.hash = row.text(0); });
  std::erase_if(open_, [&](const auto& one) { return one->id == id; });
  open_.push_back(std::make_unique<Open>(std::move(open)));
  return record;
}

void Ledger::keep_profile(const std::string& profile, const std::string& json) {
  Transaction transaction(*store_);
  store_->run("INSERT INTO profiles VALUES ($1, $2, $3) ON CONFLICT DO NOTHING",
              {sha256_hex(json), profile, json});
  transaction.commit();
}

void Ledger::judge_again(const std::string& id, const Judged& judged) {
  const Forget forget{kinds_};
  Transaction transaction(*store_);
  note_judged(id, number_of(id), without_doubles(judged));
  transaction.commit();
}

void Ledger::override_verdict(const std::string& id, const Override& decision) {
  Transaction transaction(*store_);
  store_->run("UPDATE attempts SET overrides = overrides + 1 WHERE number = $1", {number_of(id)});
  add_entry({new_id(), "overridden", utc_text(), override_body(decision)}, id);
  transaction.commit();
}

}  // namespace pinproof::record
