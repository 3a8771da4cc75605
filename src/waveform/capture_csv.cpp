#include "waveform/capture_csv.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <utility>
#include <vector>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::waveform {
namespace {

constexpr std::size_t kHeaderWithin = 100;  // lines of preamble at most
constexpr std::size_t kFewestRows = 20;
constexpr double kEvenWithin = 0.01;

struct Column {
  std::size_t index = 0;
  std::string header;
  double scale = 1;  // to SI
};

std::string lower(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return out;
}

std::string_view trim(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '"' || text.front() == '\t'))
    text.remove_prefix(1);
  while (!text.empty() &&
         (text.back() == ' ' || text.back() == '"' || text.back() == '\r' || text.back() == '\t'))
    text.remove_suffix(1);
  return text;
}

std::string shown(std::string_view text) {
  return "\"" + std::string(text.substr(0, 40)) + (text.size() > 40 ? "...\"" : "\"");
}

// Lines without copying; counts them for messages.
class Lines {
 public:
  explicit Lines(std::string_view text) : rest_(text) {
    if (rest_.starts_with("\xEF\xBB\xBF")) rest_.remove_prefix(3);
  }
  bool next(std::string_view& line) {
    if (rest_.empty()) return false;
    const auto end = rest_.find('\n');
    complete_ = end != std::string_view::npos;
    line = rest_.substr(0, end);
    if (line.ends_with('\r')) line.remove_suffix(1);
    rest_.remove_prefix(complete_ ? end + 1 : rest_.size());
    ++number_;
    return true;
  }
  std::size_t number() const { return number_; }
  bool complete() const { return complete_; }

 private:
  std::string_view rest_;
  std::size_t number_ = 0;
  bool complete_ = true;
};

std::vector<std::string_view> split(std::string_view line, char delimiter) {
  std::vector<std::string_view> out;
  bool quoted = false;
  std::size_t start = 0;
  for (std::size_t i = 0; i <= line.size(); ++i) {
    if (i < line.size() && line[i] == '"') quoted = !quoted;
    if (i < line.size() && (line[i] != delimiter || quoted)) continue;
    out.push_back(trim(line.substr(start, i - start)));
    start = i + 1;
  }
  return out;
}

// A number with the file's decimal sign; a whole cell or nothing.
std::optional<double> number(std::string_view cell, char decimal) {
  cell = trim(cell);
  if (decimal == '.') {
    if (cell.starts_with('+')) cell.remove_prefix(1);
    double value = 0;
    const auto [end, error] = std::from_chars(cell.data(), cell.data() + cell.size(), value);
    if (error != std::errc{} || end != cell.data() + cell.size() || !std::isfinite(value))
      return std::nullopt;
    return value;
  }
  std::array<char, 64> copy{};
  if (cell.size() >= copy.size()) return std::nullopt;
  std::transform(cell.begin(), cell.end(), copy.begin(), [](char c) {
    return c == ',' ? '.' : c == '.' ? 'x' : c;
  });
  return parse_number({copy.data(), cell.size()});
}

struct Format {
  char delimiter = ',';
  char decimal = '.';
  std::size_t first_row = 0;  // 1-based line of the first row of numbers
  std::vector<std::string> header;
  std::vector<std::string> units;  // of a row below the header, or empty texts
};

class Reader {
 public:
  Reader(std::string_view text, const CsvOptions& options) : text_(text), options_(options) {}

  ReadCapture read() {
    find_format();
    const Column time =
        choose(options_.time, "time", {"t_s", "time_s", "time", "t", "x-axis", "second", "seconds"},
               {"s"});
    const Column current =
        choose(options_.current, "current", {"i_a", "current_a", "current", "i", "curr"},
               options_.shunt_ohm ? std::vector<std::string>{"v"} : std::vector<std::string>{"a"});
    const auto voltage = choose_voltage();
    ReadCapture out;
    out.time_header = time.header;
    out.current_header = current.header;
    out.voltage_header = voltage ? voltage->header : "";
    read_rows(time, current, voltage, out.capture);
    return out;
  }

 private:
  [[noreturn]] void refuse(const std::string& what) const {
    throw Error(Fault::usage, options_.file + ": " + what);
  }
  [[noreturn]] void refuse_at(std::size_t line, const std::string& what) const {
    refuse("line " + std::to_string(line) + ": " + what);
  }

  void find_format();
  bool try_format(char delimiter, char decimal);
  void take_header(const std::vector<std::string_view>& before,
                   const std::vector<std::string_view>& two_before, std::size_t columns);
  std::optional<std::size_t> column_named(const std::string& name) const;
  Column make_column(std::size_t index, const std::string& what,
                     const std::vector<std::string>& units) const;
  Column choose(const std::string& wanted, const std::string& what,
                const std::vector<std::string>& names, const std::vector<std::string>& units) const;
  std::optional<Column> choose_voltage() const;
  void read_rows(const Column& time, const Column& current, const std::optional<Column>& voltage,
                 Capture& out) const;
  double cell(const std::vector<std::string_view>& row, const Column& column,
              std::size_t line) const;
  void check_steps(const std::vector<double>& times, std::size_t first_line, Capture& out) const;

  std::string_view text_;
  const CsvOptions& options_;
  Format format_;
};

// The format that makes two rows in a row all numbers, after the fewest lines.
void Reader::find_format() {
  const std::array<std::pair<char, char>, 5> kFormats{
      {{';', ','}, {'\t', ','}, {',', '.'}, {';', '.'}, {'\t', '.'}}};
  std::optional<Format> best;
  for (const auto& [delimiter, decimal] : kFormats) {
    format_ = {};
    if (!try_format(delimiter, decimal)) continue;
    if (!best || format_.header.size() > best->header.size()) best = format_;
  }
  if (!best)
    refuse("no two rows of two or more numbers in the first " + std::to_string(kHeaderWithin) +
           " lines; columns parted by comma, semicolon or tab are wanted");
  format_ = *best;
}

bool Reader::try_format(char delimiter, char decimal) {
  Lines lines(text_);
  std::string_view line;
  std::vector<std::string_view> before, two_before;
  std::size_t numeric_rows = 0;
  while (lines.number() < kHeaderWithin + 2 && lines.next(line)) {
    if (trim(line).empty()) continue;
    auto row = split(line, delimiter);
    if (row.size() > 1 && row.back().empty()) row.pop_back();
    const bool numbers =
        row.size() >= 2 && std::all_of(row.begin(), row.end(), [&](std::string_view c) {
          return number(c, decimal).has_value();
        });
    if (numbers) {
      if (numeric_rows == 0) {
        format_.delimiter = delimiter, format_.decimal = decimal,
        format_.first_row = lines.number();
        take_header(before, two_before, row.size());
      }
      if (++numeric_rows == 2) return true;
    } else {
      numeric_rows = 0;
      two_before = std::exchange(before, row);
    }
  }
  return false;
}

void Reader::take_header(const std::vector<std::string_view>& before,
                         const std::vector<std::string_view>& two_before, std::size_t columns) {
  format_.header.assign(columns, "");
  format_.units.assign(columns, "");
  const auto fits = [&](const std::vector<std::string_view>& row) { return row.size() >= columns; };
  // A row of short units under the names: "(ms);(V);(A)".
  const auto unit_like = [](std::string_view c) {
    return !c.empty() && c.size() <= 8 &&
           (c.front() == '(' || c.front() == '[' || c == "s" || c == "V" || c == "A" ||
            c == "Volt");
  };
  const bool units =
      fits(before) && fits(two_before) &&
      std::all_of(before.begin(), before.begin() + static_cast<std::ptrdiff_t>(columns), unit_like);
  const auto& names = units ? two_before : before;
  if (!fits(names)) return;
  for (std::size_t i = 0; i < columns; ++i) {
    format_.header[i] = std::string(names[i]);
    if (units) format_.units[i] = std::string(before[i]);
  }
}

std::optional<std::size_t> Reader::column_named(const std::string& name) const {
  for (std::size_t i = 0; i < format_.header.size(); ++i)
    if (lower(format_.header[i]) == lower(name)) return i;
  return std::nullopt;
}

// What stands in brackets, or behind the last underscore.
std::string unit_text(const std::string& header) {
  for (const auto& [open, close] : {std::pair{'(', ')'}, std::pair{'[', ']'}}) {
    const auto from = header.rfind(open);
    const auto to = header.rfind(close);
    if (from != std::string::npos && to != std::string::npos && to > from) {
      const std::string inside = header.substr(from + 1, to - from - 1);
      if (inside.size() <= 3) return inside;
    }
  }
  const auto bar = header.rfind('_');
  return bar != std::string::npos && header.size() - bar <= 4 ? header.substr(bar + 1) : "";
}

// "ms" with wanted {"s"} -> 1e-3; nullopt when it is not that unit.
std::optional<double> unit_scale(std::string text, const std::vector<std::string>& wanted) {
  text = std::string(trim(text));
  if (!text.empty() && (text.front() == '(' || text.front() == '['))
    text = text.substr(1, text.size() - 2);
  if (lower(text) == "volt" || lower(text) == "volts") text = "V";
  if (lower(text) == "second" || lower(text) == "seconds" || lower(text) == "sec") text = "s";
  if (lower(text) == "amp" || lower(text) == "amps" || lower(text) == "ampere") text = "A";
  for (const std::string& unit : wanted) {
    const Unit kind = unit == "s" ? Unit::second : unit == "a" ? Unit::ampere : Unit::volt;
    const std::string one = "1 " + text;
    if (const auto scale = parse_si(one, kind); scale && lower(text).ends_with(unit)) return scale;
    if (lower(text) == unit) return 1.0;
  }
  return std::nullopt;
}

Column Reader::make_column(std::size_t index, const std::string& what,
                           const std::vector<std::string>& units) const {
  Column out{index, format_.header[index], 1};
  const std::string text =
      !format_.units[index].empty() ? format_.units[index] : unit_text(out.header);
  if (const auto scale = unit_scale(text, units)) {
    out.scale = *scale;
  } else if (!text.empty() &&
             (unit_scale(text, {"s"}) || unit_scale(text, {"a"}) || unit_scale(text, {"v"}))) {
    refuse("column " + shown(out.header) + ": its unit is \"" + text + "\", which is not one of " +
           what);
  }
  return out;
}

Column Reader::choose(const std::string& wanted, const std::string& what,
                      const std::vector<std::string>& names,
                      const std::vector<std::string>& units) const {
  if (!wanted.empty()) {
    if (const auto at = column_named(wanted)) return make_column(*at, what, units);
    if (const auto n = parse_number(wanted);
        n && *n >= 1 && *n <= static_cast<double>(format_.header.size()) && *n == std::floor(*n))
      return make_column(static_cast<std::size_t>(*n) - 1, what, units);
    std::string have;
    for (const auto& h : format_.header)
      have += (have.empty() ? "" : ", ") + (h.empty() ? std::string("(no name)") : h);
    refuse("no column \"" + wanted + "\" for " + what + "; there are " +
           std::to_string(format_.header.size()) + ": " + have);
  }
  for (const std::string& name : names)
    if (const auto at = column_named(name)) return make_column(*at, what, units);
  // A header that begins with one of the names, or whose unit is of the kind.
  for (std::size_t i = 0; i < format_.header.size(); ++i)
    for (const std::string& name : names)
      if (name.size() > 2 && lower(format_.header[i]).starts_with(name))
        return make_column(i, what, units);
  for (std::size_t i = 0; i < format_.header.size(); ++i) {
    const std::string text =
        !format_.units[i].empty() ? format_.units[i] : unit_text(format_.header[i]);
    if (!text.empty() && unit_scale(text, units)) return make_column(i, what, units);
  }
  refuse("no column for " + what + " can be told by its header; name it with --columns " + what +
         "=NAME or " + what + "=NUMBER");
}

std::optional<Column> Reader::choose_voltage() const {
  if (!options_.voltage.empty()) return choose(options_.voltage, "voltage", {}, {"v"});
  for (const std::string name :
       {"v_coil_v", "voltage_v", "v_coil", "v(coil)", "coil voltage", "voltage", "v_v", "v"})
    if (const auto at = column_named(name)) return make_column(*at, "voltage", {"v"});
  std::optional<std::size_t> by_unit;
  for (std::size_t i = 0; i < format_.header.size(); ++i) {
    const std::string text =
        !format_.units[i].empty() ? format_.units[i] : unit_text(format_.header[i]);
    const bool taken_for_current =
        options_.shunt_ohm.has_value() && (lower(format_.header[i]) == lower(options_.current));
    if (text.empty() || taken_for_current || !unit_scale(text, {"v"})) continue;
    if (by_unit)
      refuse("more than one column of volts (" + shown(format_.header[*by_unit]) + ", " +
             shown(format_.header[i]) + "); name the coil's with --columns voltage=NAME");
    by_unit = i;
  }
  if (!by_unit) return std::nullopt;
  return make_column(*by_unit, "voltage", {"v"});
}

double Reader::cell(const std::vector<std::string_view>& row, const Column& column,
                    std::size_t line) const {
  const auto value = number(row[column.index], format_.decimal);
  if (!value)
    refuse_at(line, "column " + std::to_string(column.index + 1) + ": found " +
                        shown(row[column.index]) + "; a number is wanted");
  return *value * column.scale;
}

void Reader::read_rows(const Column& time, const Column& current,
                       const std::optional<Column>& voltage, Capture& out) const {
  Lines lines(text_);
  std::string_view line;
  std::vector<double> times;
  const std::size_t columns = format_.header.size();
  while (lines.next(line)) {
    if (lines.number() < format_.first_row || trim(line).empty()) continue;
    auto row = split(line, format_.delimiter);
    if (row.size() == columns + 1 && row.back().empty()) row.pop_back();
    if (row.size() != columns)
      refuse_at(lines.number(),
                std::to_string(row.size()) + " columns where the first row has " +
                    std::to_string(columns) +
                    (lines.complete() ? "" : "; the file is cut off in its last line"));
    times.push_back(cell(row, time, lines.number()));
    out.current_A.push_back(cell(row, current, lines.number()));
    if (voltage) out.voltage_V.push_back(cell(row, *voltage, lines.number()));
  }
  if (times.size() < kFewestRows)
    refuse(std::to_string(times.size()) + " rows; at least " + std::to_string(kFewestRows) +
           " are needed");
  if (options_.shunt_ohm)
    for (double& i : out.current_A) i /= *options_.shunt_ohm;
  check_steps(times, format_.first_row, out);
}

void Reader::check_steps(const std::vector<double>& times, std::size_t first_line,
                         Capture& out) const {
  const double step = (times.back() - times.front()) / static_cast<double>(times.size() - 1);
  if (!(step > 0)) refuse("time does not rise from the first row to the last");
  // Exports round their times, so the grid is judged by position, not by difference.
  for (std::size_t k = 0; k < times.size(); ++k) {
    const double off = times[k] - (times.front() + static_cast<double>(k) * step);
    const bool rises = k == 0 || times[k] > times[k - 1] - kEvenWithin * step;
    if (!rises || std::abs(off) > 0.6 * step)
      refuse_at(first_line + k, "time " + exact(times[k]) + " s is not on the even grid of " +
                                    exact(step) +
                                    " s: samples are missing, doubled or out of order");
  }
  out.start_s = times.front();
  out.interval_s = step;
}

}  // namespace

ReadCapture read_capture_csv(std::string_view text, const CsvOptions& options) {
  return Reader(text, options).read();
}

}  // namespace pinproof::waveform
