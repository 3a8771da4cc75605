// The packs that somebody calls good, for what is learned from them.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "record/ledger.h"

namespace pinproof::session {

/// By what they were named.
struct NamedGood {
  std::vector<std::string> lots, serials, records;
  bool none() const { return lots.empty() && serials.empty() && records.empty(); }
};

/// Gathers them, each by its last complete inspection.
class Packs {
 public:
  /// `profile`: name of the packs' kind.
  Packs(const record::Ledger& ledger, std::string profile)
      : ledger_(ledger), profile_(std::move(profile)) {}
  /// Throws Error(usage) for a name that the ledger does not know.
  void add(const NamedGood& named);

  std::vector<record::Attempt> good;            ///< in the order of their inspections
  std::map<std::string, std::size_t> left_out;  ///< packs by the reason
  std::size_t rejected = 0;

 private:
  void add_found(const char* option, const std::string& name, std::string record::LedgerQuery::*by);
  std::vector<record::Attempt> all_of(const record::Attempt& one) const;
  const record::Attempt* add_one(const record::Attempt& one);
  std::optional<record::Attempt> last_good(const std::vector<record::Attempt>& all);

  const record::Ledger& ledger_;
  std::string profile_;
  std::map<std::string, std::optional<record::Attempt>> seen_;
};

}  // namespace pinproof::session
