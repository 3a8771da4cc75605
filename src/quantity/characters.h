// UTF-8 from outside: names come from keyboards, scanners and files, and may hold anything.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace pinproof {

/// The most that a serial number, a lot or a note may have, in bytes.
inline constexpr std::size_t kLongestName = std::size_t{16} << 10;

/// One character of a text. Bytes that are no UTF-8 give U+FFFD, one for each maximal subpart
/// (Unicode 15, 3.9; the same as browsers do).
struct Character {
  char32_t code = 0xFFFD;
  std::size_t bytes = 0;  ///< that it takes; at least 1
  bool valid = false;
};

/// Pre: `text` is not empty.
Character first_character(std::string_view text);

/// Valid UTF-8 without NUL: what is not becomes U+FFFD. All else stays, controls too: whoever
/// shows the text makes them harmless. Throws Error(Fault::usage) where it has more than
/// `most_bytes`: a name that is cut could be another's.
std::string clean_text(std::string_view text, std::size_t most_bytes = kLongestName);

/// Moves a cursor, parts lines, turns the writing round or annotates it: the controls C0, DEL and
/// C1, the parters of lines and paragraphs, what turns_writing(), deprecated formats and tags.
bool is_control(char32_t code);

/// The marks, embeddings, overrides and isolates of direction (UAX #9).
bool turns_writing(char32_t code);

/// Leaves nothing on paper, or nothing that is a letter: controls, all format characters (joiners
/// too), U+FFFD and its neighbours, tags, and the planes of private use.
bool is_unseen(char32_t code);

/// Columns on a terminal: 0, 1 or 2 (Unicode's East_Asian_Width, as utf8proc knows it; marks that
/// take no place 0). Where terminals differ, the larger number, so that a line made by it never
/// wraps.
std::size_t columns_of(char32_t code);

/// The encoded form of a character: a code point that is no half of a pair.
void append(std::string& out, char32_t code);

}  // namespace pinproof
