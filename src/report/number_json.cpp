#include "report/number_json.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace pinproof::report {

nlohmann::ordered_json number_json(double value) {
  if (!std::isfinite(value)) return nullptr;
  return value;
}

}  // namespace pinproof::report
