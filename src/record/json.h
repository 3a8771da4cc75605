// Records as JSON of the schema "pinproof/record/1".
#pragma once

#include <string>
#include <string_view>

#include "record/record.h"

namespace pinproof::record {

/// One line, keys in a fixed order, numbers at full precision: equal records
/// give equal bytes.
std::string to_json(const Record& record);

/// Throws Error(Fault::usage) naming file and JSON pointer.
Record from_json(std::string_view json, const std::string& file);

}  // namespace pinproof::record
