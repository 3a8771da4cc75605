#include "tables/csv_columns.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <vector>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::tables {
namespace {

using Names = std::vector<std::string_view>;

// What is looked for: names in order of preference, without unit, in lower case.
struct Wanted {
  std::string_view what;
  char unit;
  Names names;
};

const Wanted kTime{"time", 's', {"t", "time", "x-axis", "seconds", "second", "sec", "x"}};
const Wanted kCurrent{
    "current", 'A', {"i_coil", "i(coil)", "coil current", "i", "current", "curr", "amps"}};
const Wanted kShunt{
    "current", 'V', {"v_shunt", "v(shunt)", "shunt voltage", "shunt", "i_coil", "i", "current"}};
const Wanted kVoltage{
    "voltage", 'V', {"v_coil", "v(coil)", "u_coil", "coil voltage", "voltage", "v", "u", "volts"}};

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

struct UnitRead {
  char kind = 0;  // 's', 'A', 'V'
  double scale = 1;
};

// "ms", "(mV)", "[µs]", "Volt": kind and scale to SI; nullopt for anything else.
std::optional<UnitRead> read_unit(std::string text) {
  std::erase_if(text,
                [](char c) { return c == '(' || c == ')' || c == '[' || c == ']' || c == ' '; });
  // Micro as U+00B5, as U+03BC, or as the single byte of an eight-bit export.
  for (const std::string_view micro : {"\xC2\xB5", "\xCE\xBC", "\xB5"})
    if (text.starts_with(micro)) text.replace(0, micro.size(), "u");
  static constexpr std::array<std::pair<std::string_view, char>, 14> kWords{{{"s", 's'},
                                                                             {"S", 's'},
                                                                             {"sec", 's'},
                                                                             {"second", 's'},
                                                                             {"seconds", 's'},
                                                                             {"V", 'V'},
                                                                             {"v", 'V'},
                                                                             {"volt", 'V'},
                                                                             {"volts", 'V'},
                                                                             {"A", 'A'},
                                                                             {"a", 'A'},
                                                                             {"amp", 'A'},
                                                                             {"amps", 'A'},
                                                                             {"ampere", 'A'}}};
  static constexpr std::array<std::pair<char, double>, 5> kPrefixes{
      {{'m', 1e-3}, {'u', 1e-6}, {'n', 1e-9}, {'k', 1e3}, {'M', 1e6}}};
  const auto kind_of = [](const std::string& word) -> char {
    for (const auto& [name, kind] : kWords)
      if (word == name || (word.size() > 1 && lower(word) == name)) return kind;
    return 0;
  };
  if (const char kind = kind_of(text)) return UnitRead{kind, 1};
  for (const auto& [prefix, scale] : kPrefixes)
    if (!text.empty() && text.front() == prefix)
      if (const char kind = kind_of(text.substr(1))) return UnitRead{kind, scale};
  return std::nullopt;
}

// A header taken apart: "V(coil) [mV]" is "v(coil)" in "[mV]", "i_A" is "i" in "A".
struct ColumnHeading {
  std::string base;
  std::optional<UnitRead> unit;
};

ColumnHeading take_apart(const CsvColumn& column) {
  ColumnHeading out{lower(column.name), read_unit(column.unit)};
  const auto cut = [&](std::size_t at, std::size_t from) {
    const auto unit = read_unit(column.name.substr(from));
    if (!unit) return false;
    if (!out.unit) out.unit = unit;
    out.base = lower(column.name.substr(0, at));
    while (out.base.ends_with(' ')) out.base.pop_back();
    return true;
  };
  const auto bracket = column.name.find_last_of("([");
  if (bracket != std::string::npos && bracket > 0 && cut(bracket, bracket)) return out;
  const auto bar = column.name.find_last_of("_ ");
  if (bar != std::string::npos && bar > 0) cut(bar, bar + 1);
  return out;
}

class Chooser {
 public:
  Chooser(const CsvTable& table, const CsvOptions& options) : table_(table), options_(options) {
    for (const CsvColumn& c : table.columns) headers_.push_back(take_apart(c));
  }

  ChosenColumns run() {
    ChosenColumns out;
    out.time = need(kTime, options_.time);
    out.current =
        options_.shunt_ohm ? shunt(*options_.shunt_ohm) : need(kCurrent, options_.current);
    const auto v = options_.voltage.empty() ? by_name(kVoltage) : named(options_.voltage, kVoltage);
    const auto fits = v ? v : by_unit(kVoltage);
    if (fits) out.voltage = chosen(*fits, kVoltage);
    return out;
  }

 private:
  [[noreturn]] void refuse(const std::string& what) const {
    throw Error(Fault::usage, options_.file + ": " + what);
  }
  std::string list() const;
  std::optional<std::size_t> named(const std::string& name, const Wanted& wanted) const;
  std::optional<std::size_t> by_name(const Wanted& wanted) const;
  std::optional<std::size_t> by_unit(const Wanted& wanted) const;
  ChosenColumn need(const Wanted& wanted, const std::string& name);
  ChosenColumn shunt(double ohm);
  ChosenColumn chosen(std::size_t index, const Wanted& wanted);
  bool is_free(std::size_t index) const {
    return table_.columns[index].numeric &&
           std::find(taken_.begin(), taken_.end(), index) == taken_.end();
  }

  const CsvTable& table_;
  const CsvOptions& options_;
  std::vector<ColumnHeading> headers_;
  std::vector<std::size_t> taken_;
};

std::string Chooser::list() const {
  std::string out;
  for (std::size_t c = 0; c < table_.columns.size(); ++c) {
    const auto& name = table_.columns[c].name;
    out += (c == 0 ? "" : ", ") + std::to_string(c + 1) + " " +
           (name.empty() ? "(no name)" : quoted(name));
  }
  return out;
}

// A name as the user wrote it, or a number from 1.
std::optional<std::size_t> Chooser::named(const std::string& name, const Wanted& wanted) const {
  for (const bool exact_case : {true, false})
    for (std::size_t c = 0; c < table_.columns.size(); ++c) {
      const auto& header = table_.columns[c].name;
      if (!header.empty() && (exact_case ? header == name : lower(header) == lower(name))) return c;
    }
  const auto n = parse_number(name);
  if (n && *n >= 1 && *n <= static_cast<double>(table_.columns.size()) && *n == std::floor(*n))
    return static_cast<std::size_t>(*n) - 1;
  refuse("no column " + quoted(name) + " for " + std::string(wanted.what) +
         "; there are: " + list());
}

std::optional<std::size_t> Chooser::by_name(const Wanted& wanted) const {
  const auto fits = [&](std::size_t c) {
    return is_free(c) && (!headers_[c].unit || headers_[c].unit->kind == wanted.unit);
  };
  for (const std::string_view name : wanted.names)
    for (std::size_t c = 0; c < headers_.size(); ++c)
      if (fits(c) && headers_[c].base == name) return c;
  for (const std::string_view name : wanted.names)
    for (std::size_t c = 0; c < headers_.size(); ++c)
      if (name.size() > 3 && fits(c) && headers_[c].base.starts_with(name)) return c;
  return std::nullopt;
}

std::optional<std::size_t> Chooser::by_unit(const Wanted& wanted) const {
  std::optional<std::size_t> found;
  for (std::size_t c = 0; c < headers_.size(); ++c) {
    const auto& unit = headers_[c].unit;
    if (!is_free(c) || !unit || unit->kind != wanted.unit) continue;
    if (found)
      refuse("columns " + quoted(table_.columns[*found].name) + " and " +
             quoted(table_.columns[c].name) + " could both be the " + std::string(wanted.what) +
             "; name one with --columns " + std::string(wanted.what) + "=NAME");
    found = c;
  }
  return found;
}

ChosenColumn Chooser::need(const Wanted& wanted, const std::string& name) {
  std::optional<std::size_t> at;
  if (!name.empty()) at = named(name, wanted);
  if (!at) at = by_name(wanted);
  if (!at) at = by_unit(wanted);
  if (at) return chosen(*at, wanted);
  const std::string what(wanted.what);
  refuse("no column for " + what + " can be told by its header; there are: " + list() +
         "; name it with --columns " + what + "=NAME or " + what + "=NUMBER");
}

// The shunt's voltage, turned into current.
ChosenColumn Chooser::shunt(double ohm) {
  if (!(ohm > 0) || !std::isfinite(ohm))
    refuse("a shunt of " + exact(ohm) + " ohm; more than 0 is allowed");
  ChosenColumn out = need(kShunt, options_.current);
  out.scale /= ohm;
  return out;
}

ChosenColumn Chooser::chosen(std::size_t index, const Wanted& wanted) {
  if (!is_free(index))
    refuse("column " + std::to_string(index + 1) + " for " + std::string(wanted.what) +
           (table_.columns[index].numeric ? " is taken already" : " holds no numbers"));
  const auto& unit = headers_[index].unit;
  if (unit && unit->kind != wanted.unit) {
    const std::string_view hint =
        wanted.unit == 'A' ? "; for a shunt's voltage give --shunt-ohm" : "";
    refuse("column " + quoted(table_.columns[index].name) + " is in " + unit->kind + " where " +
           std::string(wanted.what) + " in " + wanted.unit + " is wanted" + std::string(hint));
  }
  taken_.push_back(index);
  return {index, table_.columns[index].name, unit ? unit->scale : 1};
}

}  // namespace

ChosenColumns choose_columns(const CsvTable& table, const CsvOptions& options) {
  return Chooser(table, options).run();
}

}  // namespace pinproof::tables
