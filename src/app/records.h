// What `pinproof records` can do: one line a deed in the table of records.cpp.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "app/ledgers.h"
#include "profile/profile.h"
#include "record/ledger.h"
#include "report/label.h"

namespace CLI {
class App;
}

namespace pinproof::app {

struct Common;

struct RecordsOptions {
  LedgerOptions ledger;
  record::LedgerQuery search;
  std::vector<std::string> names;  ///< ids or files
  std::string profile, html, csv, json_lines, svg, pdf, size = "62x29", verdict, by, why, head;
  bool verbose = false, all = false;
};

struct Deed {
  std::string_view name, description;
  std::string_view example;  ///< shown under --help and in the manual
  void (*options)(CLI::App& app, RecordsOptions& options);
  int (*run)(const RecordsOptions& options, const Common& common);
};

void add_search(CLI::App& app, RecordsOptions& options);

/// The profile that the attempt was judged by, or `named` where that is not empty.
profile::Profile profile_of(const record::Ledger& ledger, const record::Attempt& attempt,
                            const std::string& named);

/// Throws Error(usage) where the attempt is not finished.
report::LabelCase label_case(const record::Attempt& attempt);

extern const Deed kFindRecords, kShowRecord, kCompareRecords;
extern const Deed kExportRecords, kImportRecords, kBackUp, kSend;
extern const Deed kRejudge, kOverride, kVerify, kLabel;

}  // namespace pinproof::app
