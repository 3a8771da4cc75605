#include "quantity/version.h"

namespace pinproof {

std::string version_number() { return PINPROOF_VERSION; }

std::string version_text() { return "pinproof " + version_number(); }

}  // namespace pinproof
