#pragma once

#include <string>

namespace pinproof {

/// "0.1.0".
std::string version_number();

/// "pinproof 0.1.0": what --version prints, and what a record says it was made by.
std::string version_text();

}  // namespace pinproof
