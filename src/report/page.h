// What every HTML page of ours shares.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof::report {

/// The style sheet: light and dark, narrow and wide, screen and paper.
std::string_view style();

/// Escaped, for text and attributes; signs that turn the order of letters
/// (bidirectional controls, Unicode UAX #9) show as their numbers.
std::string plain(std::string_view text);
/// A name from outside: the same, with its direction kept to itself.
std::string shown(std::string_view name);
/// Its first so many columns, and "…" where there is more.
std::string shown(std::string_view name, std::size_t columns);
/// Text of ours or the profile's with names in it, cut the same way.
std::string plain(std::string_view text, std::size_t columns);

/// "✔ pass": an outcome or a verdict by shape, word and border.
std::string state(std::string_view word);
/// The shape alone.
std::string_view shape_of(std::string_view word);

/// Running heads of a printed page by @page margin boxes: left, and right
/// beside the page number.
std::string running_heads(std::string_view left, std::string_view right);

/// A whole document around `body`. It fetches nothing and runs nothing: a
/// policy in its head says so to the browser. `css` comes after the shared
/// style.
std::string document(const std::string& title, const std::string& css, const std::string& body);

/// The way to the live screen's other pages; "" outside of it. `here`: "/lots",
/// or empty.
std::string navigation(std::string_view here);

/// Opens a table that may be wider than the screen: one can reach it with the
/// keyboard.
std::string open_scroll(const std::string& name);

}  // namespace pinproof::report
