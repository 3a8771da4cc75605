#include "scpi/dialect.h"

#include <algorithm>
#include <cctype>
#include <charconv>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::scpi {
namespace {

// '*' stands for any characters. Enough for identities, and nothing a file can
// make slow: each '*' is looked for once, left to right.
bool like(std::string_view pattern, std::string_view text) {
  const bool open_start = pattern.starts_with('*');
  bool first = true;
  while (!pattern.empty()) {
    const auto star = pattern.find('*');
    const std::string_view piece = pattern.substr(0, star);
    if (star == std::string_view::npos && !(first && !open_start))
      return text.size() >= piece.size() && text.ends_with(piece);
    const auto at = text.find(piece);
    if (at == std::string_view::npos || (first && at != 0)) return false;
    text.remove_prefix(at + piece.size());
    if (star == std::string_view::npos) return text.empty();
    pattern.remove_prefix(star + 1);
    first = false;
  }
  return true;
}

std::string padded(const std::string& text, std::size_t width) {
  return text.size() < width ? std::string(width - text.size(), '0') + text : text;
}

}  // namespace

bool Dialect::fits(std::string_view identity) const {
  return identity_like_.empty() ||
         std::any_of(identity_like_.begin(), identity_like_.end(),
                     [&](const std::string& pattern) { return like(pattern, identity); });
}

std::string Dialect::channel(const std::string& row, const std::string& column) const {
  std::string out;
  for (std::size_t i = 0; i < channel_.size(); ++i) {
    if (channel_[i] != '{') {
      out += channel_[i];
      continue;
    }
    const auto close = channel_.find('}', i);  // the loader has seen to that
    std::string_view token = std::string_view(channel_).substr(i + 1, close - i - 1);
    std::size_t width = 0;
    if (const auto colon = token.find(':'); colon != std::string_view::npos) {
      width = static_cast<std::size_t>(parse_number(token.substr(colon + 1)).value_or(0));
      token = token.substr(0, colon);
    }
    if (token == "sum") {
      const auto a = parse_number(row);
      const auto b = parse_number(column);
      if (!a || !b)
        throw Error(Fault::bench, "dialect " + name_ + ": row \"" + row + "\" and column \"" +
                                      column + "\" are added here and must be numbers");
      out += padded(exact(*a + *b), width);
    } else {
      out += padded(token == "row" ? row : column, width);
    }
    i = close;
  }
  return out;
}

bool Dialect::has(std::string_view operation) const { return commands_->contains(operation); }

std::vector<std::string> Dialect::operations() const {
  std::vector<std::string> out;
  for (const auto& [operation, pattern] : *commands_) out.push_back(operation);
  return out;
}

std::string Dialect::render(std::string_view operation, const Arguments& arguments) const {
  const auto it = commands_->find(operation);
  if (it == commands_->end())
    throw Error(Fault::bench, "dialect " + name_ + ": " + std::string(operation) +
                                  ": this instrument has no such operation");
  auto out = it->second.render(arguments);
  if (const auto* refusal = std::get_if<Refusal>(&out))
    throw Error(Fault::bench,
                "dialect " + name_ + ": " + std::string(operation) + ": " + refusal->text);
  return std::get<std::string>(std::move(out));
}

std::variant<Call, Refusal> Dialect::match(std::string_view header,
                                           std::string_view parameters) const {
  std::optional<Refusal> refusal;
  for (const auto& [operation, pattern] : *commands_) {
    auto outcome = pattern.match(operation, header, parameters);
    if (!outcome) continue;
    if (std::holds_alternative<Call>(*outcome)) return *std::move(outcome);
    refusal = std::get<Refusal>(*outcome);
  }
  return refusal.value_or(Refusal{-113, "Undefined header"});
}

}  // namespace pinproof::scpi
