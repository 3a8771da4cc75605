// Pages of the live screen for what the ledger holds: whole documents without
// script; links start at the root.
#pragma once

#include <string>
#include <vector>

#include "record/ledger.h"
#include "report/formats.h"
#include "report/markup.h"

namespace pinproof::report {

/// One lot as a list shows it: packs by what is in force (lot::Standing).
struct LotLine {
  std::string name, pack, newest;  ///< `newest`: when its last attempt began
  std::size_t packs = 0, accepts = 0, rejects = 0, holds = 0;
  std::size_t no_verdict = 0;  ///< packs that no attempt came to an end for
};
/// Latest lot first. `attempts` in the order in which they began, as find()
/// gives them; those without a lot make a line without a name.
std::vector<LotLine> lot_lines(const std::vector<record::Attempt>& attempts);

/// Lots, a search and the newest records, two of which can be chosen to
/// compare.
std::string lots_page(const std::vector<LotLine>& lots, const std::vector<record::Attempt>& newest,
                      const record::LedgerQuery& search);
/// What a search found, newest first.
std::string records_page(const std::vector<record::Attempt>& found,
                         const record::LedgerQuery& search);
/// A report with the way to the other pages and a person's decision above it.
std::string report_page(const Input& input, const record::Attempt& attempt);
/// "Nothing here": for what was not found or asked for wrongly.
std::string plain_page(const std::string& title, const std::string& text);

/// A link to a record's report around `text`.
Markup report_link(const record::Attempt& attempt, const Markup& text);

}  // namespace pinproof::report
