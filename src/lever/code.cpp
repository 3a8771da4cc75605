#include "lever/code.h"

#include <algorithm>
#include <cstdlib>

#include "network/reach.h"
#include "quantity/error.h"

namespace pinproof::lever {
namespace {

using profile::Bit;
using profile::Lever;

Word word_of(const std::vector<Bit>& code) {
  Word out;
  for (std::size_t k = 0; k < code.size(); ++k) {
    if (code[k] == Bit::any) continue;
    out.known |= Mask{1} << k;
    if (code[k] == Bit::closed) out.closed |= Mask{1} << k;
  }
  return out;
}

Column column_of(const profile::Profile& profile, const std::string& contact, Role role) {
  const profile::Part& part = *profile.find_part(contact);
  Column out{contact, role, part.between[0], part.between[1], {}};
  if (const auto leads = network::leads_of(profile, part)) out.pin = leads->from;
  if (out.pin == profile::kCase) std::swap(out.pin, out.common);
  return out;
}

void add_contact(Word& word, std::size_t column, bool closed) {
  word.known |= Mask{1} << column;
  if (closed) word.closed |= Mask{1} << column;
}

// What neighbours agree on stays while the lever moves.
Word common_of(const Word& x, const Word& y) {
  Word out;
  out.known = x.known & y.known & ~(x.closed ^ y.closed);
  out.closed = x.closed & out.known;
  return out;
}

void add_columns(const profile::Profile& profile, RangeCode& out) {
  const Lever& lever = *profile.lever;
  for (const std::string& line : lever.lines) {
    out.lines |= Mask{1} << out.columns.size();
    out.columns.push_back(column_of(profile, line, Role::line));
  }
  if (!lever.start_permit.empty())
    out.columns.push_back(column_of(profile, lever.start_permit, Role::start_permit));
  if (!lever.reverse.empty())
    out.columns.push_back(column_of(profile, lever.reverse, Role::reverse));
  for (std::size_t a = 0; a < out.columns.size(); ++a)
    for (std::size_t b = 0; b < out.columns.size(); ++b)
      if (a != b && out.columns[a].pin == out.columns[b].pin) out.columns[a].same.push_back(b);
}

// A contact without a resistor shorts one with a resistor at the same pin.
void add_hidden(const profile::Profile& profile, RangeCode& out) {
  for (const Word& word : out.words) {
    Mask hidden = 0;
    for (std::size_t k = 0; k < out.columns.size(); ++k)
      for (const std::size_t other : out.columns[k].same) {
        const bool shorts = !profile.find_part(out.columns[other].contact)->contact()->series_ohm;
        if (shorts && ((word.closed >> other) & 1U) != 0) hidden |= Mask{1} << k;
      }
    out.hidden.push_back(hidden);
  }
}

void add_between(const Lever& lever, RangeCode& out) {
  for (std::size_t p = 0; p + 1 < out.words.size(); ++p) {
    Word word = common_of(out.words[p], out.words[p + 1]);
    if (!lever.between.empty()) {
      const Word given = word_of(lever.between[p]);
      word.closed = (word.closed & ~out.lines) | given.closed;
      word.known = (word.known & ~out.lines) | given.known;
    }
    out.between.push_back(word);
  }
}

}  // namespace

std::vector<std::size_t> RangeCode::decode(const Word& word) const {
  std::vector<std::size_t> out;
  for (std::size_t p = 0; p < words.size(); ++p)
    if (((word.closed ^ words[p].closed) & word.known & words[p].known & lines) == 0)
      out.push_back(p);
  return out;
}

std::optional<std::size_t> RangeCode::between_of(const Word& word) const {
  if (!decode(word).empty()) return std::nullopt;
  for (std::size_t p = 0; p < between.size(); ++p)
    if (((word.closed ^ between[p].closed) & word.known & between[p].known & lines) == 0) return p;
  return std::nullopt;
}

std::string RangeCode::text(const Word& word, bool lines_only) const {
  std::string out;
  for (std::size_t k = 0; k < columns.size(); ++k) {
    const Mask bit = Mask{1} << k;
    if (lines_only && (lines & bit) == 0) continue;
    out += (word.known & bit) == 0 ? '?' : (word.closed & bit) != 0 ? '0' : '1';
  }
  return out;
}

RangeCode code_of(const profile::Profile& profile) {
  if (!profile.lever) throw Error(Fault::usage, "profile \"" + profile.name + "\" has no lever");
  const Lever& lever = *profile.lever;
  RangeCode out;
  add_columns(profile, out);
  for (const auto& position : lever.positions) {
    out.positions.push_back(position.name);
    out.start_permitted.push_back(position.start_permitted);
    out.reverse.push_back(position.reverse);
    Word word = word_of(position.code);
    for (std::size_t k = 0; k < out.columns.size(); ++k) {
      if (out.columns[k].role == Role::start_permit) add_contact(word, k, position.start_permitted);
      if (out.columns[k].role == Role::reverse) add_contact(word, k, position.reverse);
    }
    out.words.push_back(word);
  }
  add_hidden(profile, out);
  add_between(lever, out);
  for (const auto& variant : lever.variants) {
    OtherTable other{variant.name, {}};
    for (const auto& code : variant.codes) other.words.push_back(word_of(code));
    out.others.push_back(std::move(other));
  }
  return out;
}

bool neighbours(const profile::Profile& profile, const std::string& a, const std::string& b) {
  const auto& face = profile.connector.face;
  const auto place = [&](const std::string& pin) {
    for (std::size_t row = 0; row < face.size(); ++row)
      for (std::size_t column = 0; column < face[row].size(); ++column)
        if (face[row][column] == pin) return std::pair(int(row), int(column));
    return std::pair(-9, -9);
  };
  const auto [row_a, column_a] = place(a);
  const auto [row_b, column_b] = place(b);
  return row_a >= 0 && row_b >= 0 && std::abs(row_a - row_b) <= 1 &&
         std::abs(column_a - column_b) <= 1;
}

}  // namespace pinproof::lever
