#include "scpi/pattern.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

#include "quantity/text.h"

namespace pinproof::scpi {
namespace {

// Each doubles the ways in which a header can be read.
constexpr int kMostOptional = 8;  // each doubles the ways that a header is matched in

enum class ArgumentType { number, integer, on_off, word, channels };

struct PlaceholderType {
  std::string_view name;
  ArgumentType type;
};

// The only placeholders there are. A new quantity on the wire is one line here.
constexpr std::array kPlaceholders{
    PlaceholderType{"range", ArgumentType::number},
    PlaceholderType{"resolution", ArgumentType::number},
    PlaceholderType{"nplc", ArgumentType::number},
    PlaceholderType{"seconds", ArgumentType::number},
    PlaceholderType{"volts", ArgumentType::number},
    PlaceholderType{"amperes", ArgumentType::number},
    PlaceholderType{"pascals", ArgumentType::number},
    PlaceholderType{"count", ArgumentType::integer},
    PlaceholderType{"channel", ArgumentType::integer},
    PlaceholderType{"switch", ArgumentType::on_off},
    PlaceholderType{"word", ArgumentType::word},
    PlaceholderType{"channels", ArgumentType::channels},
};

std::optional<ArgumentType> type_of(std::string_view placeholder) {
  for (const auto& known : kPlaceholders)
    if (known.name == placeholder) return known.type;
  return std::nullopt;
}

bool same_letters(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) {
    return std::toupper(static_cast<unsigned char>(x)) ==
           std::toupper(static_cast<unsigned char>(y));
  });
}

bool all_digits(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(),
                                      [](unsigned char c) { return std::isdigit(c) != 0; });
}

bool is_lower(unsigned char c) { return std::islower(c) != 0; }

std::string capitals(std::string_view mnemonic) {
  std::string out;
  for (const char c : mnemonic)
    if (!is_lower(static_cast<unsigned char>(c))) out += c;
  return out;
}

// SCPI-99 vol. 1, 6.2: the short form is the beginning of the long one, in capitals. Without one
// nothing of the node would go on the wire.
bool shortens(std::string_view mnemonic) {
  const auto rest = std::find_if(mnemonic.begin(), mnemonic.end(), is_lower);
  return rest != mnemonic.begin() &&
         std::none_of(rest, mnemonic.end(), [](unsigned char c) { return std::isupper(c) != 0; });
}

// Where the first part of a list ends: at a comma outside quotes and parentheses, or at the end.
std::size_t end_of_part(std::string_view text) {
  int depth = 0;
  char quote = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (quote != 0) {
      if (c == quote) quote = 0;
    } else if (c == '"' || c == '\'') {
      quote = c;
    } else if (c == '(' || c == ')') {
      depth += c == '(' ? 1 : -1;
    } else if (c == ',' && depth <= 0) {
      return i;
    }
  }
  return text.size();
}

std::string_view without_spaces_around(std::string_view text) {
  while (text.starts_with(' ')) text.remove_prefix(1);
  while (text.ends_with(' ')) text.remove_suffix(1);
  return text;
}

std::vector<std::string_view> split(std::string_view text) {
  std::vector<std::string_view> out;
  for (std::size_t start = 0; start <= text.size();) {
    const std::size_t size = end_of_part(text.substr(start));
    out.push_back(without_spaces_around(text.substr(start, size)));
    start += size + 1;
  }
  if (out.size() == 1 && out.front().empty()) out.clear();
  return out;
}

// Only what the wire may carry: a value from a user never holds ';' or a line end.
bool harmless(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 ||
           std::string_view("!()._-").find(static_cast<char>(c)) != std::string_view::npos;
  });
}

std::optional<std::vector<std::string>> read_channels(std::string_view text) {
  if (!text.starts_with("(@") || !text.ends_with(')')) return std::nullopt;
  std::vector<std::string> out;
  for (const std::string_view one : split(text.substr(2, text.size() - 3))) {
    if (!harmless(one)) return std::nullopt;
    out.emplace_back(one);
  }
  if (out.empty()) return std::nullopt;
  return out;
}

std::optional<Argument> read_argument(ArgumentType type, std::string_view text) {
  const auto number = parse_number(text);
  switch (type) {
    case ArgumentType::number:
      if (number) return Argument{*number};
      return std::nullopt;
    case ArgumentType::integer:
      if (number && *number == std::round(*number)) return Argument{*number};
      return std::nullopt;
    case ArgumentType::on_off:
      if (same_letters(text, "ON") || text == "1") return Argument{1.0};
      if (same_letters(text, "OFF") || text == "0") return Argument{0.0};
      return std::nullopt;
    case ArgumentType::word:
      if (text.empty() || !std::all_of(text.begin(), text.end(),
                                       [](unsigned char c) { return std::isalnum(c) != 0; }))
        return std::nullopt;
      return Argument{std::string(text)};
    case ArgumentType::channels:
      if (auto channels = read_channels(text)) return Argument{*std::move(channels)};
      return std::nullopt;
  }
  return std::nullopt;
}

std::optional<std::string> write_channels(const std::vector<std::string>& channels) {
  std::string out = "(@";
  for (const std::string& channel : channels) {
    if (!harmless(channel)) return std::nullopt;
    if (out.size() > 2) out += ',';
    out += channel;
  }
  return out + ")";
}

std::optional<std::string> write_argument(ArgumentType type, const Argument& argument) {
  if (const auto* number = std::get_if<double>(&argument)) {
    if (!std::isfinite(*number)) return std::nullopt;
    if (type == ArgumentType::number) return exact(*number);
    if (type == ArgumentType::integer && *number == std::round(*number)) return exact(*number);
    if (type == ArgumentType::on_off) return std::string(*number != 0 ? "1" : "0");
  } else if (const auto* word = std::get_if<std::string>(&argument)) {
    if (type == ArgumentType::word && harmless(*word)) return *word;
  } else if (type == ArgumentType::channels) {
    return write_channels(std::get<std::vector<std::string>>(argument));
  }
  return std::nullopt;
}

// SCPI-99 vol. 1, 7.2.1: words in place of a number. They ask for what the
// instrument thinks best, as leaving the parameter out does.
bool is_default(std::string_view text) {
  for (const char* word : {"DEF", "DEFAULT", "AUTO", "MIN", "MINIMUM", "MAX", "MAXIMUM"})
    if (same_letters(text, word)) return true;
  return false;
}

std::string known_placeholders() {
  std::string out;
  for (const auto& known : kPlaceholders)
    out += (out.empty() ? "{" : ", {") + std::string(known.name) + "}";
  return out;
}

}  // namespace

// "[SENSe:]RESistance:NPLCycles" or "CONFigure:VOLTage[:DC]" or "CHANnel{channel}:RANGe".
void Pattern::read_header(const Place& place, std::string_view text) {
  std::string word, suffix;
  bool optional = false;
  bool word_optional = false;
  const auto finish = [&] {
    if (!word.empty() && !shortens(word))
      place.refuse("\"" + word +
                   "\" does not begin with its short form in capitals, as MEASure does");
    if (!word.empty()) header_.push_back({word, capitals(word), word_optional, suffix});
    word.clear(), suffix.clear();
  };
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '[' || c == ']') {
      finish();
      if (optional == (c == '['))
        place.refuse("brackets do not pair in \"" + std::string(text) + "\"");
      optional = c == '[';
    } else if (c == ':') {
      finish();
    } else if (c == '{' && !word.empty()) {
      const auto close = text.find('}', i);
      if (close == std::string_view::npos || text.substr(i + 1, close - i - 1) != "channel")
        place.refuse("only {channel} can be the suffix of a header");
      suffix = "channel";
      i = close;
    } else if (std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '*') {
      if (word.empty()) word_optional = optional;
      word += c;
    } else {
      place.refuse("\"" + std::string(1, c) +
                   "\" cannot stand in a header; letters, digits, ':', '*', '[' and ']' can");
    }
  }
  finish();
  const auto left_out =
      std::count_if(header_.begin(), header_.end(), [](const Mnemonic& m) { return m.optional; });
  if (left_out > kMostOptional)
    place.refuse("more than " + std::to_string(kMostOptional) + " nodes in brackets");
  if (optional || header_.empty())
    place.refuse("no header, or a bracket left open, in \"" + std::string(text) + "\"");
}

void Pattern::read_parameters(const Place& place, std::string_view text) {
  for (std::string_view one : split(text)) {
    Parameter parameter;
    if (one.starts_with('[') && one.ends_with(']')) {
      parameter.optional = true;
      one = one.substr(1, one.size() - 2);
    } else if (!parameters_.empty() && parameters_.back().optional) {
      place.refuse("a parameter that must stand cannot follow one that need not");
    }
    if (one.find_first_of("{}[]") == std::string_view::npos && !parameter.optional) {
      const std::string_view bare = one.size() > 2 && one.front() == '"' && one.back() == '"'
                                        ? one.substr(1, one.size() - 2)
                                        : one;
      const std::string_view allowed = ":_.-";
      if (bare.empty() || !std::all_of(bare.begin(), bare.end(), [&](unsigned char c) {
            return std::isalnum(c) != 0 || allowed.find(static_cast<char>(c)) != allowed.npos;
          }))
        place.refuse("\"" + std::string(one) + "\" cannot be a fixed parameter");
      parameter.literal = one;
    } else {
      if (!one.starts_with('{') || !one.ends_with('}') || !type_of(one.substr(1, one.size() - 2)))
        place.refuse("\"" + std::string(one) + "\" is not a placeholder; known are " +
                     known_placeholders());
      parameter.placeholder = one.substr(1, one.size() - 2);
    }
    parameters_.push_back(std::move(parameter));
  }
}

Pattern Pattern::parse(const Place& place, std::string_view text) {
  Pattern out;
  const auto space = text.find(' ');
  std::string_view header = text.substr(0, space);
  out.query_ = header.ends_with('?');
  if (out.query_) header.remove_suffix(1);
  out.read_header(place, header);
  if (space != std::string_view::npos) out.read_parameters(place, text.substr(space + 1));
  return out;
}

std::variant<std::string, Refusal> Pattern::render(const Arguments& arguments) const {
  std::string out;
  const auto write = [&](const std::string& name, ArgumentType type) -> std::optional<std::string> {
    const auto it = arguments.find(name);
    if (it == arguments.end()) return std::nullopt;
    return write_argument(type, it->second);
  };
  const auto refuse = [](const std::string& name) {
    return Refusal{-104, "{" + name + "} is missing or of the wrong type"};
  };
  for (const Mnemonic& m : header_) {
    if (m.optional) continue;
    out += (out.empty() ? "" : ":") + m.brief;
    if (m.suffix.empty()) continue;
    const auto number = write(m.suffix, ArgumentType::integer);
    if (!number) return refuse(m.suffix);
    out += *number;
  }
  if (query_) out += '?';
  bool first = true;
  for (const Parameter& p : parameters_) {
    std::optional<std::string> text = p.literal;
    if (!p.placeholder.empty()) text = write(p.placeholder, *type_of(p.placeholder));
    if (!text && p.optional && !arguments.contains(p.placeholder)) break;
    if (!text) return refuse(p.placeholder);
    out += (first ? " " : ",") + *text;
    first = false;
  }
  return out;
}

bool Pattern::matches_from(std::size_t at, std::string_view text, Arguments& suffixes) const {
  if (at == header_.size()) return text.empty();
  if (header_[at].optional && matches_from(at + 1, text, suffixes)) return true;
  if (text.empty()) return false;
  const auto colon = text.find(':');
  const std::string_view word = text.substr(0, colon);
  const std::string_view rest = colon == std::string_view::npos ? "" : text.substr(colon + 1);
  const auto is = [&](std::string_view form) {
    if (header_[at].suffix.empty()) return same_letters(word, form);
    return word.size() > form.size() && same_letters(word.substr(0, form.size()), form) &&
           all_digits(word.substr(form.size()));
  };
  if (!is(header_[at].full) && !is(header_[at].brief)) return false;
  if (!header_[at].suffix.empty()) {
    const auto digits = word.find_first_of("0123456789");
    suffixes[header_[at].suffix] = parse_number(word.substr(digits)).value_or(0);
  }
  return matches_from(at + 1, rest, suffixes);
}

std::variant<Call, Refusal> Pattern::read(Call call, std::string_view parameters) const {
  const auto given = split(parameters);
  const auto must = static_cast<std::size_t>(std::count_if(
      parameters_.begin(), parameters_.end(), [](const Parameter& p) { return !p.optional; }));
  if (given.size() < must) return Refusal{-109, "Missing parameter"};
  if (given.size() > parameters_.size()) return Refusal{-108, "Parameter not allowed"};
  for (std::size_t i = 0; i < given.size(); ++i) {
    const Parameter& p = parameters_[i];
    if (p.placeholder.empty()) {
      if (!same_letters(given[i], p.literal)) return Refusal{-224, "Illegal parameter value"};
      continue;
    }
    if (p.optional && is_default(given[i])) continue;
    auto argument = read_argument(*type_of(p.placeholder), given[i]);
    if (!argument) return Refusal{-104, "Data type error"};
    call.arguments.insert_or_assign(p.placeholder, *std::move(argument));
  }
  return call;
}

std::optional<std::variant<Call, Refusal>> Pattern::match(const std::string& operation,
                                                          std::string_view header,
                                                          std::string_view parameters) const {
  if (header.ends_with('?') != query_) return std::nullopt;
  if (query_) header.remove_suffix(1);
  Call call{operation, {}};
  if (!matches_from(0, header, call.arguments)) return std::nullopt;
  return read(std::move(call), parameters);
}

}  // namespace pinproof::scpi
