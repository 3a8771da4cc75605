// How much a bench's readings scatter by themselves, from what it has read.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "record/ledger.h"

namespace pinproof::lot {

/// By check and subject: the part of the standard uncertainty that is new in each reading, the
/// median over some of these records. Captures have none.
using Repeatabilities = std::map<std::pair<std::string, std::string>, double>;
Repeatabilities repeatabilities(const record::Ledger& ledger, const std::vector<std::string>& ids);

/// The smallest step between values that differ: what the display resolves, as far as can be seen.
/// 0 where all are alike.
double step_of(std::vector<double> values);

}  // namespace pinproof::lot
