#include "screen/target.h"

#include <algorithm>
#include <charconv>

#include "quantity/characters.h"

namespace pinproof::screen {
namespace {

std::optional<char> escaped(std::string_view digits) {
  unsigned value = 0;
  const auto [end, error] =
      std::from_chars(digits.data(), digits.data() + digits.size(), value, 16);
  if (digits.size() != 2 || error != std::errc{} || end != digits.data() + 2) return std::nullopt;
  return static_cast<char>(value);
}

bool is_text(std::string_view text, bool (*refused)(char32_t)) {
  while (!text.empty()) {
    const Character first = first_character(text);
    if (!first.valid || refused(first.code)) return false;
    text.remove_prefix(first.bytes);
  }
  return true;
}

bool wrong_in_path(char32_t code) { return code == U'\\' || is_control(code); }
// Serial numbers and lots may hold any character that can be typed.
bool wrong_in_query(char32_t code) { return code < 0x20 || code == 0x7F; }

std::optional<std::string> decoded(std::string_view raw, bool form) {
  std::string out;
  for (std::size_t i = 0; i < raw.size(); ++i) {
    if (raw[i] == '%') {
      const auto byte = escaped(raw.substr(i + 1, 2));
      if (!byte || (*byte == '/' && !form)) return std::nullopt;
      out += *byte;
      i += 2;
    } else {
      out += form && raw[i] == '+' ? ' ' : raw[i];
    }
  }
  if (!is_text(out, form ? wrong_in_query : wrong_in_path)) return std::nullopt;
  return out;
}

bool climbs(std::string_view path) {
  for (std::size_t at = 0; at < path.size();) {
    const std::size_t end = std::min(path.find('/', at + 1), path.size());
    const std::string_view segment = path.substr(at + 1, end - at - 1);
    if (segment == "." || segment == ".." || (segment.empty() && end != path.size())) return true;
    at = end;
  }
  return false;
}

bool add_pair(std::string_view raw, std::map<std::string, std::string>& query) {
  if (raw.empty()) return true;
  const std::size_t cut = std::min(raw.find('='), raw.size());
  auto name = decoded(raw.substr(0, cut), true);
  auto value = decoded(raw.substr(std::min(cut + 1, raw.size())), true);
  if (!name || !value) return false;
  query.emplace(std::move(*name), std::move(*value));
  return true;
}

// RFC 9112, 3.2.2: a server takes the form that proxies are sent, too.
bool to_origin_form(std::string_view& raw, std::string_view host) {
  constexpr std::string_view kScheme = "http://";
  if (raw.substr(0, kScheme.size()) != kScheme) return true;
  raw.remove_prefix(kScheme.size());
  if (host.empty() || raw.substr(0, host.size()) != host) return false;
  raw.remove_prefix(host.size());
  if (raw.empty()) raw = "/";
  return true;
}

}  // namespace

std::optional<Target> read_target(std::string_view raw, std::string_view host) {
  if (!to_origin_form(raw, host) || raw.empty() || raw[0] != '/') return std::nullopt;
  const auto wrong = [](char c) {  // what no URI holds unescaped (RFC 3986)
    const auto byte = static_cast<unsigned char>(c);
    return byte <= 0x20 || byte >= 0x7F || c == '#' || c == '\\';
  };
  if (std::any_of(raw.begin(), raw.end(), wrong)) return std::nullopt;

  const std::size_t cut = std::min(raw.find('?'), raw.size());
  auto path = decoded(raw.substr(0, cut), false);
  if (!path || climbs(*path)) return std::nullopt;
  Target target{std::move(*path), {}};
  std::string_view rest = raw.substr(std::min(cut + 1, raw.size()));
  while (!rest.empty()) {
    const std::size_t end = std::min(rest.find('&'), rest.size());
    if (!add_pair(rest.substr(0, end), target.query)) return std::nullopt;
    rest.remove_prefix(std::min(end + 1, rest.size()));
  }
  return target;
}

}  // namespace pinproof::screen
