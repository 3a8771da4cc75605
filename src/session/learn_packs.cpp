#include "session/learn_packs.h"

#include <algorithm>

#include "lot/study.h"
#include "quantity/error.h"

namespace pinproof::session {

using record::Attempt;

void Packs::add(const NamedGood& named_good) {
  for (const std::string& lot : named_good.lots)
    add_found("--good-lot", lot, &record::LedgerQuery::lot);
  for (const std::string& serial : named_good.serials)
    add_found("--good-serial", serial, &record::LedgerQuery::serial);
  for (const std::string& id : named_good.records) {
    const Attempt named = ledger_.attempt(id);
    const Attempt* last = add_one(named);
    if (last && last->id != named.id)
      throw Error(Fault::usage, "--good-record " + id + ": this pack was inspected again since, " +
                                    "as record " + last->id + ": name that one");
  }
  const auto earlier = [](const Attempt& a, const Attempt& b) { return a.number < b.number; };
  std::sort(good.begin(), good.end(), earlier);
}

void Packs::add_found(const char* option, const std::string& name,
                      std::string record::LedgerQuery::*by) {
  record::LedgerQuery search;
  search.*by = name;
  const auto found = name.empty() ? std::vector<Attempt>() : ledger_.find(search);
  if (found.empty())
    throw Error(Fault::usage, ledger_.name() + ": no pack for " + option + " \"" + name + "\"");
  for (const Attempt& attempt : found) add_one(attempt);
}

// All inspections of the same pack; without a serial number each is a pack of its own.
std::vector<Attempt> Packs::all_of(const Attempt& one) const {
  if (one.serial.empty()) return {one};
  record::LedgerQuery search;
  search.serial = one.serial, search.profile = profile_;
  return ledger_.find(search);
}

// What counts for this pack where it is a good one.
const Attempt* Packs::add_one(const Attempt& one) {
  const bool other = one.profile_name != profile_;
  const std::string pack = one.serial.empty() ? "record " + one.id : "serial " + one.serial;
  const auto [place, fresh] = seen_.emplace((other ? "other " : "") + pack, std::nullopt);
  if (fresh && other) ++left_out["another kind of pack"];
  if (fresh && !other) place->second = last_good(all_of(one));
  if (fresh && place->second) good.push_back(*place->second);
  return place->second ? &*place->second : nullptr;
}

std::optional<Attempt> Packs::last_good(const std::vector<Attempt>& all) {
  lot::Standing standing;
  std::string lot;  // a retest is often entered without one
  for (const Attempt& attempt : all) {
    if (!attempt.lot.empty()) lot = attempt.lot;
    standing.add(attempt);
  }
  std::optional<Attempt> last;
  for (const Attempt& attempt : all)
    if (standing.any() && attempt.number == standing.in_force().number) last = attempt;
  if (!last) return ++left_out["no complete inspection"], std::nullopt;
  if (lot::verdict_in_force(*last) == "reject") {
    const bool person = last->overridden && last->overridden->verdict == "reject";
    rejected += last->verdict == "reject";
    ++left_out[person ? "rejected by a person" : "rejected"];
    return std::nullopt;
  }
  // Somebody held it, and its readings end in the middle.
  if (last->ended != "complete")
    return ++left_out["on hold since an inspection that broke off"], std::nullopt;
  last->lot = lot;
  return last;
}

}  // namespace pinproof::session
