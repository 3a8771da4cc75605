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

/// The same for one event, and for a header by itself: a ledger keeps them apart.
std::string event_to_json(const Event& event);
Event event_from_json(std::string_view json, const std::string& file);
std::string header_to_json(const Header& header);
Header header_from_json(std::string_view json, const std::string& file);

}  // namespace pinproof::record
