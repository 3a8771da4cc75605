// Which instruments answer, which dialect is theirs, and a bench file to start from.
#pragma once

#include <string>
#include <vector>

namespace pinproof::app {

struct FindOptions {
  std::vector<std::string> addresses;  ///< to look at besides serial ports and USB
  std::string dialects;                ///< folder
  std::string write;                   ///< bench file to propose; empty: none
  bool json = false;
};

/// Prints what was found. 0 where something answered, 4 otherwise.
int find_instruments(const FindOptions& options);

}  // namespace pinproof::app
