#include "quantity/text.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "quantity/phrase.h"

namespace pinproof {
namespace {

struct UnitText {
  Unit unit;
  std::string_view symbol;
  std::string_view file_name;
  bool prefixed;  // may carry an SI prefix in text
};

constexpr std::array kUnits{
    UnitText{Unit::none, "", "1", false},
    UnitText{Unit::ohm, "Ω", "ohm", true},
    UnitText{Unit::volt, "V", "V", true},
    UnitText{Unit::ampere, "A", "A", true},
    UnitText{Unit::henry, "H", "H", true},
    UnitText{Unit::second, "s", "s", true},
    UnitText{Unit::celsius, "°C", "celsius", false},
    UnitText{Unit::pascal, "Pa", "Pa", true},
    UnitText{Unit::weber, "Wb", "Wb", true},
    UnitText{Unit::percent, "%", "percent", false},
    UnitText{Unit::watt, "W", "W", true},
    UnitText{Unit::joule, "J", "J", true},
};

const UnitText& text_of(Unit unit) {
  const auto it = std::find_if(kUnits.begin(), kUnits.end(),
                               [unit](const UnitText& entry) { return entry.unit == unit; });
  return *it;  // every enumerator has a row
}

struct SiPrefix {
  std::string_view text;
  int exponent;
};

constexpr std::array kPrefixes{SiPrefix{"p", -12}, SiPrefix{"n", -9}, SiPrefix{"µ", -6},
                               SiPrefix{"u", -6},  SiPrefix{"m", -3}, SiPrefix{"k", 3},
                               SiPrefix{"M", 6},   SiPrefix{"G", 9},  SiPrefix{"T", 12}};

std::string_view prefix_for(int exponent) {
  if (exponent == 0) return "";
  const auto it = std::find_if(kPrefixes.begin(), kPrefixes.end(),
                               [exponent](const SiPrefix& p) { return p.exponent == exponent; });
  return it->text;
}

// The largest multiple of three not above the decimal exponent, kept to the table.
int engineering_exponent(double value) {
  if (value == 0 || !std::isfinite(value)) return 0;
  const int decimal = static_cast<int>(std::floor(std::log10(std::abs(value))));
  const int floored = decimal >= 0 ? decimal / 3 * 3 : -((-decimal + 2) / 3) * 3;
  return std::clamp(floored, -12, 12);
}

// Fewer places are for people; a file may claim any uncertainty.
constexpr double kLeastShown = 1e-30;

std::string_view trim(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

std::string with_unit(std::string number, std::string_view prefix, Unit unit) {
  const std::string_view sign = symbol(unit);
  if (sign.empty() && prefix.empty()) return number;
  const bool close_up = unit == Unit::percent;
  return number.append(close_up ? "" : " ").append(prefix).append(sign);
}

std::string not_a_number(double value) {
  if (std::isnan(value)) return "no value";
  return value > 0 ? "∞" : "-∞";
}

}  // namespace

std::string_view symbol(Unit unit) { return text_of(unit).symbol; }

std::string_view file_name(Unit unit) { return text_of(unit).file_name; }

std::optional<Unit> unit_from_file_name(std::string_view name) {
  for (const UnitText& entry : kUnits)
    if (entry.file_name == name) return entry.unit;
  return std::nullopt;
}

std::optional<double> parse_number(std::string_view text) {
  if (text.starts_with('+')) {
    text.remove_prefix(1);
    if (text.starts_with('-') || text.starts_with('+')) return std::nullopt;
  }
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  if (!std::isfinite(value)) return std::nullopt;  // from_chars reads "nan" and "inf"
  return value;
}

std::optional<double> parse_si(std::string_view text, Unit unit) {
  text = trim(text);
  const auto number_end = text.find_first_not_of("+-.0123456789eE");
  const std::string_view rest =
      number_end == std::string_view::npos ? std::string_view{} : trim(text.substr(number_end));
  const auto number = parse_number(trim(text.substr(0, number_end)));
  if (!number) return std::nullopt;

  const UnitText& wanted = text_of(unit);
  const auto is_unit = [&](std::string_view t) {
    return t.empty() || t == wanted.symbol ||
           (unit != Unit::none && t == wanted.file_name) ||  // "1" is no unit's name there
           (unit == Unit::ohm && (t == "Ohm" || t == "\u2126")) ||
           (unit == Unit::celsius && t == "C");
  };
  if (is_unit(rest)) return number;
  if (!wanted.prefixed) return std::nullopt;
  for (const SiPrefix& prefix : kPrefixes) {
    if (!rest.starts_with(prefix.text) || !is_unit(rest.substr(prefix.text.size()))) continue;
    const double value = *number * std::pow(10.0, prefix.exponent);
    return std::isfinite(value) ? std::optional(value) : std::nullopt;
  }
  return std::nullopt;
}

std::string exact(double value) {
  std::array<char, 40> buffer{};
  const auto result = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  return {buffer.data(), result.ptr};
}

std::string format_si(double value, Unit unit, int digits) {
  if (!std::isfinite(value)) return with_unit(not_a_number(value), "", unit);
  const bool prefixed = text_of(unit).prefixed;
  int exponent = prefixed ? engineering_exponent(value) : 0;
  const auto decimals_at = [&](double mantissa) {
    if (mantissa == 0) return digits - 1;
    return digits - 1 - static_cast<int>(std::floor(std::log10(std::abs(mantissa))));
  };
  double mantissa = value / std::pow(10.0, exponent);
  std::string number = fixed(mantissa, decimals_at(mantissa));
  // 999.96 with four digits would print as 1000.0: step to the next prefix.
  const auto rounded = parse_number(number);
  if (prefixed && exponent < 12 && rounded && std::abs(*rounded) >= 1000) {
    exponent += 3;
    mantissa = value / std::pow(10.0, exponent);
    number = fixed(mantissa, digits - 1);
  }
  return with_unit(std::move(number), prefix_for(exponent), unit);
}

std::string format_estimate(const Estimate& estimate, Unit unit, double coverage_factor) {
  const double expanded = coverage_factor * estimate.u;
  if (!std::isfinite(estimate.value)) return format_si(estimate.value, unit);
  if (!std::isfinite(expanded) || expanded <= 0) return format_si(estimate.value, unit);
  const bool prefixed = text_of(unit).prefixed;
  const double larger = std::max(std::abs(estimate.value), expanded);
  const int exponent = prefixed ? engineering_exponent(larger) : 0;
  const double scale = std::pow(10.0, exponent);
  const double shown = expanded / scale;
  if (shown < kLeastShown)
    return with_unit(exact(estimate.value) + " ± " + exact(expanded), "", unit);
  int decimals = 1 - static_cast<int>(std::floor(std::log10(shown)));
  const double step = std::pow(10.0, decimals);
  // Rounded up, but not for the last bit of a product such as 2 * 0.006.
  const double up = std::ceil(shown * step * (1 - 1e-12)) / step;
  if (up >= std::pow(10.0, 2 - decimals)) --decimals;  // 0.0995 -> 0.10, still two digits
  std::string number = fixed(estimate.value / scale, decimals);
  const std::string bound = decimals >= 0 ? fixed(up, decimals) : fixed(std::ceil(up), 0);
  return with_unit(number + " ± " + bound, prefix_for(exponent), unit);
}

std::string format_seconds(double seconds) { return fixed(seconds, 3) + " s"; }

}  // namespace pinproof
