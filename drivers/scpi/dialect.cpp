#include "scpi/dialect.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::scpi {
namespace {

enum class Type { number, integer, on_off, word, channels };

struct PlaceholderType {
  std::string_view name;
  Type type;
};

// The only placeholders there are. A new quantity on the wire is one line here.
constexpr std::array kPlaceholders{
    PlaceholderType{"range", Type::number},   PlaceholderType{"nplc", Type::number},
    PlaceholderType{"seconds", Type::number}, PlaceholderType{"volts", Type::number},
    PlaceholderType{"amperes", Type::number}, PlaceholderType{"pascals", Type::number},
    PlaceholderType{"count", Type::integer},  PlaceholderType{"switch", Type::on_off},
    PlaceholderType{"word", Type::word},      PlaceholderType{"channels", Type::channels},
};

std::optional<Type> type_of(std::string_view placeholder) {
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

std::string capitals(std::string_view mnemonic) {
  std::string out;
  for (const char c : mnemonic)
    if (!std::islower(static_cast<unsigned char>(c))) out += c;
  return out;
}

// Splits at commas outside quotes and parentheses.
std::vector<std::string_view> split_parameters(std::string_view text) {
  std::vector<std::string_view> out;
  std::size_t start = 0;
  int depth = 0;
  char quote = 0;
  for (std::size_t i = 0; i <= text.size(); ++i) {
    const char c = i < text.size() ? text[i] : ',';
    if (quote != 0) {
      if (c == quote) quote = 0;
    } else if (c == '"' || c == '\'') {
      quote = c;
    } else if (c == '(' || c == ')') {
      depth += c == '(' ? 1 : -1;
    }
    if (i < text.size() && (c != ',' || depth > 0 || quote != 0)) continue;
    std::string_view part = text.substr(start, i - start);
    while (!part.empty() && part.front() == ' ') part.remove_prefix(1);
    while (!part.empty() && part.back() == ' ') part.remove_suffix(1);
    out.push_back(part);
    start = i + 1;
  }
  if (out.size() == 1 && out.front().empty()) out.clear();
  return out;
}

std::optional<std::vector<std::string>> read_channels(std::string_view text) {
  if (!text.starts_with("(@") || !text.ends_with(')')) return std::nullopt;
  text = text.substr(2, text.size() - 3);
  std::vector<std::string> out;
  while (true) {
    const auto comma = text.find(',');
    const std::string_view one = text.substr(0, comma);
    if (one.empty()) return std::nullopt;
    out.emplace_back(one);
    if (comma == std::string_view::npos) return out;
    text.remove_prefix(comma + 1);
  }
}

std::optional<Argument> read_argument(Type type, std::string_view text) {
  const auto number = parse_number(text);
  switch (type) {
    case Type::number:
      if (number) return Argument{*number};
      return std::nullopt;
    case Type::integer:
      if (number && *number == std::round(*number)) return Argument{*number};
      return std::nullopt;
    case Type::on_off:
      if (same_letters(text, "ON") || text == "1") return Argument{1.0};
      if (same_letters(text, "OFF") || text == "0") return Argument{0.0};
      return std::nullopt;
    case Type::word:
      if (text.empty() || !std::all_of(text.begin(), text.end(),
                                       [](unsigned char c) { return std::isalnum(c) != 0; }))
        return std::nullopt;
      return Argument{std::string(text)};
    case Type::channels:
      if (auto channels = read_channels(text)) return Argument{*std::move(channels)};
      return std::nullopt;
  }
  return std::nullopt;
}

// Only what the wire may carry: a value from a user never holds ';' or a line end.
bool harmless(std::string_view text) {
  return !text.empty() && text.find_first_of(";,()\r\n \"'") == std::string_view::npos;
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

std::optional<std::string> write_argument(Type type, const Argument& argument) {
  if (const auto* number = std::get_if<double>(&argument)) {
    if (!std::isfinite(*number)) return std::nullopt;
    if (type == Type::number) return exact(*number);
    if (type == Type::integer && *number == std::round(*number)) return exact(*number);
    if (type == Type::on_off) return std::string(*number != 0 ? "1" : "0");
  } else if (const auto* word = std::get_if<std::string>(&argument)) {
    if (type == Type::word && harmless(*word)) return *word;
  } else if (type == Type::channels) {
    return write_channels(std::get<std::vector<std::string>>(argument));
  }
  return std::nullopt;
}

struct Mnemonic {
  std::string full;
  std::string brief;
  bool optional = false;
};

}  // namespace

struct Dialect::Pattern {
  std::vector<Mnemonic> header;
  bool query = false;
  std::vector<std::string> placeholders;

  bool matches(std::string_view text) const;
  bool matches_from(std::size_t at, std::string_view text) const;
  std::string header_text() const;
  std::variant<Call, Refusal> read(const std::string& operation,
                                   const std::vector<std::string_view>& given) const;
};

struct Dialect::Commands {
  std::map<std::string, Pattern, std::less<>> by_operation;
};

bool Dialect::Pattern::matches_from(std::size_t at, std::string_view text) const {
  if (at == header.size()) return text.empty();
  if (header[at].optional && matches_from(at + 1, text)) return true;
  if (text.empty()) return false;
  const auto colon = text.find(':');
  const std::string_view word = text.substr(0, colon);
  if (!same_letters(word, header[at].full) && !same_letters(word, header[at].brief)) return false;
  return matches_from(
      at + 1, colon == std::string_view::npos ? std::string_view{} : text.substr(colon + 1));
}

bool Dialect::Pattern::matches(std::string_view text) const {
  if (text.ends_with('?') != query) return false;
  if (query) text.remove_suffix(1);
  return matches_from(0, text);
}

std::string Dialect::Pattern::header_text() const {
  std::string out;
  for (const Mnemonic& m : header) {
    if (m.optional) continue;
    if (!out.empty()) out += ':';
    out += m.brief;
  }
  return query ? out + "?" : out;
}

std::variant<Call, Refusal> Dialect::Pattern::read(
    const std::string& operation, const std::vector<std::string_view>& given) const {
  if (given.size() < placeholders.size()) return Refusal{-109, "Missing parameter"};
  if (given.size() > placeholders.size()) return Refusal{-108, "Parameter not allowed"};
  Call call{operation, {}};
  for (std::size_t i = 0; i < given.size(); ++i) {
    auto argument = read_argument(*type_of(placeholders[i]), given[i]);
    if (!argument) return Refusal{-104, "Data type error"};
    call.arguments.emplace(placeholders[i], *std::move(argument));
  }
  return call;
}

namespace {

// "[SENSe:]RESistance:NPLCycles" or "CONFigure:VOLTage[:DC]".
std::vector<Mnemonic> read_header(const Place& place, std::string_view text) {
  std::vector<Mnemonic> out;
  std::string word;
  bool optional = false;
  bool word_optional = false;
  const auto finish = [&] {
    if (!word.empty()) out.push_back({word, capitals(word), word_optional});
    word.clear();
  };
  for (const char c : text) {
    if (c == '[' || c == ']') {
      finish();
      if (optional == (c == '['))
        place.refuse("brackets do not pair in \"" + std::string(text) + "\"");
      optional = c == '[';
    } else if (c == ':') {
      finish();
    } else if (std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '*') {
      if (word.empty()) word_optional = optional;
      word += c;
    } else {
      place.refuse("\"" + std::string(1, c) +
                   "\" cannot stand in a header; letters, digits, ':', '*', '[' and ']' can");
    }
  }
  finish();
  if (optional || out.empty())
    place.refuse("no header, or a bracket left open, in \"" + std::string(text) + "\"");
  return out;
}

std::vector<std::string> read_placeholders(const Place& place, std::string_view text) {
  std::vector<std::string> out;
  for (const std::string_view one : split_parameters(text)) {
    if (!one.starts_with('{') || !one.ends_with('}') || !type_of(one.substr(1, one.size() - 2)))
      place.refuse("\"" + std::string(one) +
                   "\" is not a placeholder; known are {range}, {nplc}, {seconds}, {volts}, "
                   "{amperes}, {pascals}, {count}, {switch}, {word} and {channels}");
    out.emplace_back(one.substr(1, one.size() - 2));
  }
  return out;
}

}  // namespace

Dialect Dialect::parse(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/dialect/1");
  Dialect dialect;
  dialect.name_ = root.text("name");
  dialect.role_ = root.text("role");
  auto commands = std::make_shared<Commands>();
  for (auto& [operation, place] : root.at("commands").members()) {
    const std::string text = place.text();
    const auto space = text.find(' ');
    std::string_view header = std::string_view(text).substr(0, space);
    Pattern pattern;
    pattern.query = header.ends_with('?');
    if (pattern.query) header.remove_suffix(1);
    pattern.header = read_header(place, header);
    if (space != std::string::npos)
      pattern.placeholders = read_placeholders(place, std::string_view(text).substr(space + 1));
    commands->by_operation.emplace(operation, std::move(pattern));
  }
  dialect.commands_ = std::move(commands);
  root.done();
  return dialect;
}

Dialect Dialect::load(const std::string& path) { return parse(read_file(path, 1 << 20), path); }

bool Dialect::has(std::string_view operation) const {
  return commands_->by_operation.contains(operation);
}

std::vector<std::string> Dialect::operations() const {
  std::vector<std::string> out;
  for (const auto& [operation, pattern] : commands_->by_operation) out.push_back(operation);
  return out;
}

std::string Dialect::render(std::string_view operation, const Arguments& arguments) const {
  const auto it = commands_->by_operation.find(operation);
  const std::string where = "dialect " + name_ + ": " + std::string(operation);
  if (it == commands_->by_operation.end())
    throw Error(Fault::bench, where + ": this instrument has no such operation");
  const Pattern& pattern = it->second;
  std::string out = pattern.header_text();
  for (std::size_t i = 0; i < pattern.placeholders.size(); ++i) {
    const auto argument = arguments.find(pattern.placeholders[i]);
    std::optional<std::string> text;
    if (argument != arguments.end())
      text = write_argument(*type_of(pattern.placeholders[i]), argument->second);
    if (!text)
      throw Error(Fault::bench,
                  where + ": {" + pattern.placeholders[i] + "} is missing or of the wrong type");
    out += (i == 0 ? " " : ",") + *text;
  }
  return out;
}

std::variant<Call, Refusal> Dialect::match(std::string_view header,
                                           std::string_view parameters) const {
  const auto given = split_parameters(parameters);
  std::optional<Refusal> refusal;
  for (const auto& [operation, pattern] : commands_->by_operation) {
    if (!pattern.matches(header)) continue;
    auto outcome = pattern.read(operation, given);
    if (std::holds_alternative<Call>(outcome)) return outcome;
    refusal = std::get<Refusal>(outcome);
  }
  return refusal.value_or(Refusal{-113, "Undefined header"});
}

}  // namespace pinproof::scpi
