// Records as a search gives them, and two of them side by side.
#pragma once

#include <string>
#include <vector>

#include "findings/ids.h"
#include "inspection/checks/judgement.h"
#include "record/ledger.h"

namespace pinproof::report {

/// A table of 80 columns, newest last, with the totals.
std::string records_text(const std::vector<record::Attempt>& attempts);
std::string records_json(const std::vector<record::Attempt>& attempts);

/// One figure before and after.
struct Compared {
  findings::ResultId id;
  std::string title;
  Unit unit = Unit::none;
  std::optional<Estimate> first, second;
  std::string first_outcome, second_outcome;
  bool changed = false;  ///< by more than both uncertainties (k = 2) explain, or another outcome
};
struct Comparison {
  record::Attempt first, second;
  std::vector<Compared> figures;
  std::vector<std::string> gone, come;  ///< findings that only one of the two has
};
Comparison compare(const record::Attempt& first, const inspection::Judgement& before,
                   const record::Attempt& second, const inspection::Judgement& after);
/// What changed; with `all` also what did not.
std::string comparison_text(const Comparison& comparison, bool all);
std::string comparison_json(const Comparison& comparison);

/// What became of an attempt after it was closed: judgements, overrides. Empty where nothing.
std::string history_text(const record::Ledger& ledger, const record::Attempt& attempt);

std::string verified_text(const record::Verified& verified);
std::string verified_json(const record::Verified& verified);

/// Readings of many records as CSV, one row a reading, units in the columns' names or a column.
std::string csv_head(bool with_record);
/// With its verdict and the level of that; `attempt` null: without the columns of the record.
std::string csv_rows(const record::Record& record, const record::Attempt* attempt);

}  // namespace pinproof::report
