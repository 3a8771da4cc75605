// Lines for a terminal of 80 columns.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof::report {

inline constexpr std::size_t kWidth = 80;

/// Columns, not bytes.
std::size_t columns(std::string_view text);
/// Control characters would move the cursor; names come from outside.
std::string harmless(std::string_view text);
/// The first `count` columns of a text, whole characters only.
std::string_view head(std::string_view text, std::size_t count);
/// `text` with blanks behind it up to so many columns, or its head.
std::string padded(const std::string& text, std::size_t count);
/// `text` behind `first`, its further lines under its beginning.
void wrap(std::string& out, const std::string& first, const std::string& text);

}  // namespace pinproof::report
