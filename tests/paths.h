// Where the sources and the check values lie. One object knows it, so that the compiler's command
// lines are the same in every clone, and a compiler cache can serve them all.
#pragma once

#include <string>

namespace pinproof::tests {

/// Folder of the sources, without a slash at its end.
const std::string& source_dir();
/// tests/data of the sources, without a slash at its end.
const std::string& data_dir();

}  // namespace pinproof::tests
