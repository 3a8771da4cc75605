// The project's own profile with one place changed, for tests of refusals.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "paths.h"
#include "quantity/file.h"

namespace pinproof::tests {

inline nlohmann::json six_speed_json() {
  return nlohmann::json::parse(
      read_file(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json", 1 << 20));
}

/// Index of a part in "parts" by its name.
inline std::size_t part_index(const nlohmann::json& profile, const std::string& name) {
  std::size_t i = 0;
  for (const auto& part : profile.at("parts")) {
    if (part.at("name") == name) return i;
    ++i;
  }
  return i;
}

}  // namespace pinproof::tests
