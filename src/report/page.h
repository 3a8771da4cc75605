// What every HTML page of ours shares.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

#include "report/markup.h"

namespace pinproof::report {

/// Plain text made fit for text and attributes; signs that turn the order of letters
/// (bidirectional controls, Unicode UAX #9) show as their numbers.
Markup plain(std::string_view text);
/// A name from outside: the same, with its direction kept to itself.
Markup shown(std::string_view name);
/// Its first so many columns, and "…" where there is more.
Markup shown(std::string_view name, std::size_t columns);
/// Text of ours or the profile's with names in it, cut the same way.
Markup plain(std::string_view text, std::size_t columns);

/// "✔ pass": an outcome or a verdict by shape, word and border.
Markup state(std::string_view word);
/// The shape alone.
std::string_view shape_of(std::string_view word);

/// Running heads of a printed page by @page margin boxes: left, and right
/// beside the page number.
Css running_heads(std::string_view left, std::string_view right);

/// A whole document around `body`, as bytes for a file or a reply. It fetches
/// nothing and runs nothing: a policy in its head says so to the browser. `css`
/// comes after the style that all pages share: light and dark, narrow and wide,
/// screen and paper.
std::string document(std::string_view title, const Css& css, const Markup& body);

/// The way to the live screen's other pages; "" outside of it. `here`: "/lots",
/// or empty.
Markup navigation(std::string_view here);

/// Opens a table that may be wider than the screen: one can reach it with the
/// keyboard.
Markup open_scroll(std::string_view name);

}  // namespace pinproof::report
