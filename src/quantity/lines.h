// Lines for a terminal of 80 columns.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof {

inline constexpr std::size_t kWidth = 80;
/// Of a name in a report of lines; where one is longer, shortened() says so.
inline constexpr std::size_t kNameWidth = 60;

/// Columns of the terminal, not bytes: marks on a letter take none, wide characters two.
std::size_t columns(std::string_view text);
/// Names come from outside: "?" for what would move the cursor or turn the writing round, U+FFFD
/// for what is no UTF-8, and no more than three marks on one letter.
std::string harmless(std::string_view text);
/// The beginning of a text that fits into `count` columns, whole characters only.
std::string_view head(std::string_view text, std::size_t count);
/// `text` with blanks behind it up to so many columns, or its head.
std::string padded(const std::string& text, std::size_t count);
/// The same, with an ellipsis at the end of what was cut.
std::string fitted(const std::string& text, std::size_t count);
/// A harmless name; of a long one the head, an ellipsis and how long it is.
std::string shortened(std::string_view name, std::size_t count = kNameWidth);
/// `text` behind `first`, its further lines under its beginning; a word too long for a line is
/// parted.
void wrap(std::string& out, const std::string& first, const std::string& text);

}  // namespace pinproof
