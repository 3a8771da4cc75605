// What every HTML page of ours shares.
#pragma once

#include <string_view>

namespace pinproof::report {

/// The style sheet: light and dark, narrow and wide, screen and paper.
std::string_view style();

}  // namespace pinproof::report
