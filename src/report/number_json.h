// A number in JSON, which has no infinity and no "not a number". Only for the report folder's own
// sources.
#pragma once

#include <nlohmann/json_fwd.hpp>

namespace pinproof::report {

/// null where the value is not finite.
nlohmann::ordered_json number_json(double value);

}  // namespace pinproof::report
