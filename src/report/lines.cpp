#include "report/lines.h"

#include <algorithm>

namespace pinproof::report {

// Columns, not bytes: every UTF-8 lead byte counts one.
std::size_t columns(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  }));
}

// Control characters would move the cursor; names come from outside.
std::string harmless(std::string_view text) {
  std::string out;
  for (const char c : text) out += static_cast<unsigned char>(c) < 0x20 || c == 0x7f ? '?' : c;
  return out;
}

// The first `count` columns of a text, whole characters only.
std::string_view head(std::string_view text, std::size_t count) {
  std::size_t at = 0;
  for (std::size_t used = 0; at < text.size(); ++at) {
    if ((static_cast<unsigned char>(text[at]) & 0xC0) != 0x80 && used++ == count) break;
  }
  return text.substr(0, at);
}

std::string padded(const std::string& text, std::size_t count) {
  const std::size_t used = columns(text);
  return used >= count ? std::string(head(text, count)) : text + std::string(count - used, ' ');
}

void wrap(std::string& out, const std::string& first, const std::string& text) {
  const std::string safe = harmless(text);
  const std::size_t indent = columns(first);
  std::string line = first;
  std::size_t used = indent;
  std::string_view rest = safe;
  while (!rest.empty()) {
    const auto space = rest.find(' ');
    std::string_view word = rest.substr(0, space);
    if (columns(word) > kWidth - indent) word = head(word, kWidth - indent);
    if (used > indent && used + 1 + columns(word) > kWidth) {
      out += line + "\n";
      line.assign(indent, ' ');
      used = indent;
    }
    if (used > indent) line += ' ', ++used;
    line += word;
    used += columns(word);
    rest.remove_prefix(word.size());
    if (rest.starts_with(' ')) rest.remove_prefix(1);
  }
  out += line + "\n";
}

}  // namespace pinproof::report
