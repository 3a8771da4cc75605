#include "paths.h"

namespace pinproof::tests {

const std::string& source_dir() {
  static const std::string dir = PINPROOF_SOURCE_DIR;
  return dir;
}

const std::string& data_dir() {
  static const std::string dir = source_dir() + "/tests/data";
  return dir;
}

}  // namespace pinproof::tests
