#include "report/markup.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdio>

#include "quantity/characters.h"
#include "quantity/url.h"

namespace pinproof::report {

struct Escaper {
  template <class Language>
  static Fit<Language> fit(std::string escaped) {
    return Fit<Language>(typename Fit<Language>::Escaped{std::move(escaped)});
  }
};

namespace {

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out += static_cast<unsigned char>(c) < 0x20 ? ' ' : c;
    }
  }
  return out;
}

}  // namespace

Markup escape(std::string_view text) { return Escaper::fit<Html>(escaped(text)); }

Markup escape_lines(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const auto end = text.find('\n');
    out += escaped(text.substr(0, end));
    if (end == std::string_view::npos) break;
    out += '\n';
    text.remove_prefix(end + 1);
  }
  return Escaper::fit<Html>(std::move(out));
}

Markup digits(std::size_t count) { return escape(std::to_string(count)); }

Url url_text(std::string_view text) { return Escaper::fit<Address>(url_escaped(text)); }

Css css_string(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const bool safe = byte >= 0x80 || c == ' ' || c == '-' || c == '.' || c == ',' ||
                      (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
    char number[16];
    std::snprintf(number, sizeof number, "\\%x ", static_cast<unsigned>(byte));
    out += safe ? std::string(1, c) : std::string(byte < 0x20 ? " " : number);
  }
  return Escaper::fit<StyleSheet>(out + "\"");
}

Markup attribute(Literal name, std::string_view value) {
  return " " + Markup(name) + "=\"" + escape(value) + "\"";
}

Markup href(const Url& to) { return attribute("href", to.text()); }

Markup attribute(Literal name, double value) {
  return " " + Markup(name) + "=\"" + coordinate(value) + "\"";
}

Markup coordinate(double value) {
  if (!std::isfinite(value)) return "0"_html;
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(),
                                 std::clamp(value, -1e6, 1e6), std::chars_format::fixed, 1)
                       .ptr;
  return escape({buffer.data(), end});
}

}  // namespace pinproof::report
