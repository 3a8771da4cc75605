// Numbers and texts of people: what is read is finite and, written, reads as the same; shown
// figures are whole and shown bounds are never too small; cleaned text is clean.
#include <bit>
#include <cmath>
#include <cstdint>
#include <cstring>

#include "quantity/characters.h"
#include "quantity/document.h"
#include "quantity/text.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

bool near(double a, double b, double within) {
  return std::abs(a - b) <= within * std::max(std::abs(a), std::abs(b)) ||
         std::max(std::abs(a), std::abs(b)) < 1e-300;  // digits are lost among the subnormals
}

void expect_shown(const std::string& text) {
  expect(text.find('\0') == std::string::npos && text.size() < 700, "figures are text", text);
}

void expect_number(double value, Unit unit, int digits) {
  const auto again = parse_number(exact(value));
  expect(again && std::bit_cast<std::uint64_t>(*again) == std::bit_cast<std::uint64_t>(value),
         "exact() is exact", exact(value));
  const std::string shown = format_si(value, unit, digits);
  expect_shown(shown);
  const auto read = parse_si(shown, unit);
  // Half a step of the last digit, where the prefixes reach.
  const double magnitude = std::abs(value);
  if (magnitude >= 1e-11 && magnitude < 1e14)
    expect(read && near(*read, value, 0.6 * std::pow(10.0, 1 - digits)), "shown and read", shown);
}

void expect_estimate(const Estimate& estimate, Unit unit) {
  const std::string shown = format_estimate(estimate, unit);
  expect_shown(shown);
  const auto sign = shown.find(" ± ");
  if (!estimate.usable() || sign == std::string::npos) return;
  // The prefix stands behind both.
  const std::string bound = shown.substr(sign + std::strlen(" ± "));
  const auto read = parse_si(bound, unit);
  expect(read && *read >= 2 * estimate.u * (1 - 1e-9), "a shown U is never too small", shown);
  expect(*read <= 2 * estimate.u * 1.2, "nor much too large", shown);
}

void expect_text(std::string_view text) {
  std::string clean;
  if (!accepted([&] { clean = clean_text(text, 1000); })) return;
  expect(clean_text(clean, 4000) == clean, "clean text stays", clean);
  expect(clean.find('\0') == std::string::npos, "no NUL");
  std::size_t width = 0;
  for (std::string_view rest = clean; !rest.empty();) {
    const Character c = first_character(rest);
    expect(c.valid && c.bytes >= 1 && c.bytes <= rest.size(), "clean text is UTF-8", clean);
    width += columns_of(c.code);
    std::string encoded;
    append(encoded, c.code);
    expect(encoded == rest.substr(0, c.bytes), "encoded again, the same", clean);
    rest.remove_prefix(c.bytes);
  }
  expect(width <= 2 * clean.size(), "two columns at most");
}

}  // namespace

void try_quantity(std::string_view input) {
  const auto unit = static_cast<Unit>(take_byte(input) % 12);
  const int digits = static_cast<int>(take_byte(input) % 9) + 1;
  double raw[2] = {};
  if (!input.empty()) std::memcpy(raw, input.data(), std::min(input.size(), sizeof raw));
  if (std::isfinite(raw[0])) expect_number(raw[0], unit, digits);
  expect_estimate({raw[0], raw[1]}, unit);
  (void)format_seconds(raw[0]);
  if (const auto value = parse_si(input, unit)) {
    expect(std::isfinite(*value), "what is read is a number", input);
    expect_number(*value, unit, digits);
    expect_estimate({*value, std::abs(*value) / 300}, unit);
  }
  if (const auto value = parse_number(input)) expect_number(*value, unit, digits);
  expect_text(input);
  accepted([&] { (void)Document::parse(input, kFile); }, kFile);
}

}  // namespace pinproof::fuzz
