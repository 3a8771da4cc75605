// The lever's code table as words of bits, what they decode to, and what is dangerous. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "profile/profile.h"

namespace pinproof::lever {

using Mask = std::uint32_t;

/// What all contacts of the lever say at once; bit k is column k of the code.
struct Word {
  Mask closed = 0;  ///< a subset of `known`
  Mask known = 0;   ///< the others may be either
  friend bool operator==(const Word&, const Word&) = default;
};

/// True where no bit that both know differs.
constexpr bool agree(const Word& x, const Word& y) {
  return ((x.closed ^ y.closed) & x.known & y.known) == 0;
}

enum class Role { line, start_permit, reverse };

struct Column {
  std::string contact;  ///< name of the part
  Role role = Role::line;
  std::string pin;                ///< at which it is read; of the pack
  std::string common;             ///< the node that its other end shares with others
  std::vector<std::size_t> same;  ///< columns that are read at the same pin
};

/// A table of another kind of pack that fits the same connector.
struct OtherTable {
  std::string name;
  std::vector<Word> words;
};

struct RangeCode {
  std::vector<Column> columns;  ///< lines in code order, then start permit and reverse
  std::vector<std::string> positions;
  std::vector<Word> words;    ///< of a good pack, by position
  std::vector<Word> between;  ///< between neighbours; unknown where two neighbours differ and
                              ///< the profile does not say which contact leads
  std::vector<OtherTable> others;
  std::vector<bool> start_permitted, reverse;  ///< by position
  /// Contacts that nobody can read there: another one that is closed at the same pin hides them.
  std::vector<Mask> hidden;
  Mask lines = 0;  ///< which columns the controller decodes

  Mask all() const { return static_cast<Mask>((std::uint64_t{1} << columns.size()) - 1); }
  /// All that can be read in a position.
  Mask readable(std::size_t position) const { return all() & ~hidden[position]; }
  /// A position where the transmission drives: neither park nor neutral.
  bool drives(std::size_t position) const { return !start_permitted[position]; }
  /// Positions whose code agrees with the lines of `word`: none, one, or several where bits are
  /// unknown.
  std::vector<std::size_t> decode(const Word& word) const;
  /// The first of two neighbours between which the lines read so while the lever stands between
  /// them and no position has that code; nullopt where it is no such word.
  std::optional<std::size_t> between_of(const Word& word) const;
  /// "1 open, 0 closed": "11110", '?' where unknown; of the lines only, or all columns.
  std::string text(const Word& word, bool lines_only = true) const;
};

/// Throws Error(usage) where the profile has no lever.
RangeCode code_of(const profile::Profile& profile);

/// Pins that stand side by side on the connector's face.
bool neighbours(const profile::Profile& profile, const std::string& a, const std::string& b);

}  // namespace pinproof::lever
