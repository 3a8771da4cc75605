// Inside of the ledger: what its files share.
#pragma once

#include <string>
#include <unordered_map>

#include "record/ledger.h"
#include "record/store.h"

namespace pinproof::record {

/// An attempt that this program is at.
struct Ledger::Open {
  std::string id;
  std::int64_t number = 0, events = 0;
  std::string hash;  ///< of the last event
};

/// Numbers of kinds are good inside one transaction only: it may be rolled back.
struct Forget {
  std::unordered_map<std::string, std::int64_t>& kinds;
  ~Forget() { kinds.clear(); }
};

/// Links of the two chains: an attempt's events, and the ledger's entries.
std::string event_hash(const std::string& before, std::string_view body);
std::string entry_hash(const std::string& before, const Parcel::LedgerEntry& entry,
                       const std::string& attempt);
/// The first link of an attempt's events.
std::string header_hash(std::string_view header);

/// What the tables hold of a serial number or lot: itself, or its beginning and its hash where it
/// is too long for an index of a server. The header has all of it.
std::string key_of(const std::string& name);
bool is_shortened(const std::string& key);

/// Bodies of entries as JSON, and back.
std::string closed_body(const std::string& ended, std::int64_t events, const std::string& hash);
std::string judged_body(const Judged& judged);
std::string override_body(const Override& decision);
struct Closed {
  std::string ended, hash;
  std::int64_t events = 0;
};
Closed read_closed(std::string_view body);
/// What an entry says of an attempt's figures: a hash over their ids, or over their titles where it
/// was written before figures had ids (version 0.1.0).
struct FiguresHash {
  std::string hash;
  bool by_title = false;
};
/// With a hash of the figures in place of them.
Judged read_judged(std::string_view body, FiguresHash& figures);
Override read_override(std::string_view body, std::string_view at);

/// The first of each name: the tables hold one number a name.
Judged without_doubles(Judged judged);

/// Of what the tables hold of an attempt's figures and findings.
std::string figures_hash(const std::vector<Figure>& figures, bool by_title = false);
/// What tells one row of figure_kinds from another: the figure's id and its limits; the title too
/// of a judgement whose hash covers titles, since a row keeps one title only.
std::string kind_name(const Figure& figure, bool by_title = false);

/// "host 1234 56789": this process; and whether such a one still runs here.
std::string own_process();
bool still_runs(const std::string& process);

}  // namespace pinproof::record
