#include "quantity/lines.h"

#include <algorithm>

#include "quantity/characters.h"

namespace pinproof {
namespace {

constexpr std::size_t kMarks = 3;  // on one letter, as Vietnamese and Hebrew need them
constexpr const char* kEllipsis = "…";

std::size_t characters(std::string_view text) {
  std::size_t count = 0;
  for (; !text.empty(); ++count) text.remove_prefix(first_character(text).bytes);
  return count;
}

}  // namespace

std::size_t columns(std::string_view text) {
  std::size_t used = 0;
  while (!text.empty()) {
    const Character one = first_character(text);
    used += columns_of(one.code);
    text.remove_prefix(one.bytes);
  }
  return used;
}

std::string harmless(std::string_view text) {
  std::string out;
  std::size_t marks = 0;
  while (!text.empty()) {
    const Character one = first_character(text);
    marks = columns_of(one.code) == 0 ? marks + 1 : 0;
    if (is_control(one.code))
      out += '?';
    else if (marks <= kMarks)
      append(out, one.code);
    text.remove_prefix(one.bytes);
  }
  return out;
}

std::string_view head(std::string_view text, std::size_t count) {
  std::size_t at = 0;
  for (std::size_t used = 0; at < text.size();) {
    const Character one = first_character(text.substr(at));
    used += columns_of(one.code);
    if (used > count) break;
    at += one.bytes;
  }
  return text.substr(0, at);
}

std::string padded(const std::string& text, std::size_t count) {
  std::string out(head(text, count));
  return out.append(count - columns(out), ' ');
}

std::string fitted(const std::string& text, std::size_t count) {
  if (columns(text) <= count || count == 0) return padded(text, count);
  return padded(std::string(head(text, count - 1)) + kEllipsis, count);
}

std::string shortened(std::string_view name, std::size_t count) {
  std::string safe = harmless(name);
  if (columns(safe) <= count) return safe;
  const std::string tail = kEllipsis + (" (" + std::to_string(characters(name))) + " characters)";
  return std::string(head(safe, count - std::min(count, columns(tail)))) + tail;
}

void wrap(std::string& out, const std::string& first, const std::string& text) {
  const std::string safe = harmless(text);
  const std::size_t indent = columns(first), room = kWidth - std::min(indent, kWidth - 2);
  std::string line = first;
  std::size_t used = indent;
  std::string_view rest = safe;
  while (!rest.empty()) {
    const std::string_view word = head(rest.substr(0, rest.find(' ')), room);
    if (used > indent && used + 1 + columns(word) > kWidth) {
      out += line + "\n";
      line.assign(indent, ' ');
      used = indent;
    }
    if (used > indent) {
      line += ' ';
      ++used;
    }
    line += word;
    used += columns(word);
    rest.remove_prefix(word.size());
    if (rest.starts_with(' ')) rest.remove_prefix(1);
  }
  out += line + "\n";
}

}  // namespace pinproof
