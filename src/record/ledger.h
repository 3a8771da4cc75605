// Where records live. Attempts are only ever added to; each event is on the disk when append()
// returns; every entry carries the hash of the one before, so that tampering shows.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "findings/ids.h"
#include "quantity/quantity.h"
#include "record/record.h"

namespace pinproof::record {

class Store;
class Row;

/// One judged number of an attempt: what a lot is looked at by.
struct Figure {
  std::string check, subject, aspect;  ///< findings::ResultId
  std::string title;                   ///< as it was called for a person; nothing is found by it
  Unit unit = Unit::none;
  Interval limit;               ///< infinite where there is none
  std::optional<double> value;  ///< none where there was no number
  double u = 0;                 ///< standard uncertainty
  std::string outcome;          ///< "pass", "fail", ...

  findings::ResultId id() const { return {check, subject, aspect}; }
};

/// A finding's name, to search by.
struct FoundName {
  std::string kind, part;
};

/// What an attempt came to, under one profile.
struct Judged {
  std::string verdict, level, why, profile_hash, program;
  std::vector<Figure> figures;
  std::vector<FoundName> findings;
};

/// A person's decision beside the verdict; the verdict stays.
struct Override {
  std::string verdict, by, why, at;
};

/// One inspection of one pack, as a search gives it.
struct Attempt {
  std::int64_t number = 0;  ///< in this ledger, in the order in which they began
  std::string id;           ///< the same in every ledger
  std::string serial, lot, profile_name, profile_hash, bench, started_at, program;
  bool closed = false;
  bool running = false;  ///< some program is at it; of another computer that is assumed
  std::string ended;     ///< "complete", "stopped", "bench-fault", "left"; empty while open
  std::string verdict, level, why;  ///< the newest judgement; empty while open
  std::size_t overrides = 0;
  std::optional<Override> overridden;  ///< the newest
};

struct LedgerQuery {
  std::string id, serial, lot, verdict, finding, profile, bench;  ///< empty: any
  std::string from, to;     ///< of started_at, ISO 8601 or the beginning of one; both inside
  std::size_t at_most = 0;  ///< the newest so many; 0: all
  bool open_only = false;
};

/// What a check of the whole ledger found.
struct Verified {
  std::size_t attempts = 0, events = 0, entries = 0, still_open = 0;
  std::string head;                   ///< of the chain: written down elsewhere, it proves the end
  bool knows_head = true;             ///< the head that was asked for is in the chain
  std::vector<std::string> problems;  ///< empty: nothing was changed
};

/// All of one attempt, to hand to another ledger.
struct Parcel {
  Header header;
  std::string profile_json;         ///< may be empty
  std::vector<std::string> bodies;  ///< of the events, byte for byte
  struct LedgerEntry {
    std::string id, kind, at, body;
  };
  std::vector<LedgerEntry> entries;
  std::vector<Figure> figures;  ///< of the newest judgement
};

class Ledger {
 public:
  /// A SQLite file or "postgresql://...". The schema is brought up to date. Throws Error(usage)
  /// for what is no ledger or one of a newer program, Error(bench) where nobody answers.
  static std::unique_ptr<Ledger> open(const std::string& where);
  /// The same, but a ledger that is not there yet is an Error(usage).
  static std::unique_ptr<Ledger> open_existing(const std::string& where);
  ~Ledger();
  Ledger(const Ledger&) = delete;
  Ledger& operator=(const Ledger&) = delete;

  const std::string& name() const;
  /// Made with the ledger: another one in its place has another.
  std::string identity() const;

  // --- one attempt as it happens ---
  /// Gives the record's header its id. `profile_json` is kept to judge by later.
  std::string begin(Header& header, const std::string& profile_json);
  void append(const std::string& id, const Event& event);
  /// `ended` as in Attempt.
  void close(const std::string& id, const std::string& ended, const Judged& judged);
  /// Takes an open attempt up again. Throws Error(usage) where it is closed or another program
  /// that still runs is at it.
  Record resume(const std::string& id);

  // --- afterwards ---
  /// So that who looks later can judge as it was judged now.
  void keep_profile(const std::string& name, const std::string& json);
  void judge_again(const std::string& id, const Judged& judged);
  /// `at` of the decision is now, whatever it holds.
  void override_verdict(const std::string& id, const Override& decision);

  std::vector<Attempt> find(const LedgerQuery& search) const;
  /// Throws Error(usage) where there is none, or several begin with it.
  Attempt attempt(const std::string& id_or_its_beginning) const;
  Record load(const std::string& id) const;
  /// The same without the waveforms, which are most of a record.
  Record load_readings(const std::string& id) const;
  std::vector<Figure> figures(const std::string& id) const;
  std::vector<Override> overrides(const std::string& id) const;
  std::vector<Judged> judgements(const std::string& id) const;  ///< oldest first, without figures
  /// Text of a profile that attempts here were judged by; empty where it is not kept.
  std::string profile_json(const std::string& hash) const;

  /// What kinds of figures there are, without values; the number is what scan_figures() gives.
  std::vector<std::pair<std::int64_t, Figure>> figure_kinds() const;
  struct Scanned {
    std::int64_t attempt = 0, kind = 0;
    double value = 0;  ///< NaN where there is none
  };
  /// What a lot's yield is counted from; attempts of one serial come together, oldest first.
  struct AttemptOutcome {
    std::int64_t number = 0;
    std::string_view serial, ended, verdict, level, profile_hash;  ///< a long serial as its key
    bool overridden = false;
    bool elsewhere = false;  ///< made in another lot, or in none
  };
  /// `all`: also what the serials of this lot came to in other lots, whatever kind of pack it was.
  enum class Lots { this_one, all };
  void each_outcome(const std::string& lot, const std::function<void(const AttemptOutcome&)>& f,
                    Lots lots = Lots::this_one) const;
  /// Lots of packs by this profile that began before this attempt, the latest first.
  std::vector<std::string> lots_before(const std::string& profile_name, std::int64_t number,
                                       std::size_t at_most) const;
  Attempt attempt(std::int64_t number) const;
  /// All figures of a lot, attempts in their order, only of the `every`-th attempt in the lot.
  void scan_figures(const std::string& lot, std::int64_t every,
                    const std::function<void(const Scanned&)>& on_figure) const;

  // --- whole ledgers ---
  /// `on_attempt` hears how many of how many are looked at.
  using OnAttempt = std::function<void(std::size_t done, std::size_t of)>;
  Verified verify(const std::string& head = {}, const OnAttempt& on_attempt = {}) const;
  /// A file with everything in it. Throws Error.
  void back_up(const std::string& path) const;
  Parcel parcel(const std::string& id) const;
  /// Adds what is not here yet, in one transaction; false where all of it was. Throws
  /// Error(usage) where an attempt of the same id has other readings.
  bool receive(const std::vector<Parcel>& parcels);
  /// Every attempt's id that is closed and of which some entry has not gone to `destination` yet.
  std::vector<std::string> not_sent(const std::string& destination) const;
  /// So many of its entries, that is: a later one makes it go again.
  void mark_sent(const std::string& id, std::size_t entries, const std::string& destination);

 private:
  explicit Ledger(std::unique_ptr<Store> store);
  struct Open;
  Open& open_attempt(const std::string& id);
  void add_entry(const Parcel::LedgerEntry& entry, const std::string& attempt);
  void insert_attempt(const Header& header, const std::string& owner,
                      const std::string& profile_json);
  std::int64_t number_of(const std::string& id) const;
  void name_in_full(Attempt& attempt) const;
  Record load_where(const std::string& id, const char* condition) const;
  std::int64_t kind_of(const Figure& figure, bool by_title);
  void note_judged(const std::string& id, std::int64_t number, const Judged& judged);
  void draw_figures(std::int64_t number, const Judged& judged, bool by_title);
  void check_events(const Attempt& row, const std::string& header, const std::string& closed,
                    Verified& out) const;
  bool receive_one(const Parcel& parcel);
  void refuse_other_readings(const Parcel& parcel, std::int64_t number,
                             const std::string& header) const;
  std::string judged_at(const std::string& id) const;
  bool receive_entries(const Parcel& parcel, std::int64_t number,
                       const std::set<std::string>& known);

  std::unique_ptr<Store> store_;
  std::vector<std::unique_ptr<Open>> open_;
  std::unordered_map<std::string, std::int64_t> kinds_;  // seen in one receive()
};

/// Of a record that comes from a file: header.id is set; equal records give equal parcels.
Parcel parcel_of(const Record& record, const std::string& profile_json, const std::string& ended,
                 const Judged& judged);

/// 26 letters and digits, sorted by time: the milliseconds and 80 random bits (ULID).
std::string new_id();
/// The same form from bytes: equal bytes, equal id.
std::string id_of(const std::string& bytes);

/// "2026-11-02T08:15:00Z".
std::string utc_text();

}  // namespace pinproof::record
