#include "tables/csv_table.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <map>
#include <utility>

#include "quantity/error.h"

namespace pinproof::tables {
namespace {

constexpr std::size_t kProbeLines = 40;
constexpr std::size_t kPreambleLines = 1000;  // an instrument's own lines before the samples

bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r'; }

std::string_view trim(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

std::string_view unquoted(std::string_view cell) {
  cell = trim(cell);
  if (cell.size() >= 2 && cell.front() == '"' && cell.back() == '"')
    cell = trim(cell.substr(1, cell.size() - 2));
  return cell;
}

struct CsvLine {
  std::string_view text;
  std::size_t offset = 0;
};

// Up to `most` lines that are not empty and end in a line feed (the last line
// may be cut off), from `offset` on.
std::vector<CsvLine> lines_from(std::string_view text, std::size_t offset, std::size_t most) {
  std::vector<CsvLine> out;
  while (offset < text.size() && out.size() < most) {
    const auto end = text.find('\n', offset);
    if (end == std::string_view::npos && !out.empty()) break;
    const auto line = trim(text.substr(offset, end - offset));
    if (!line.empty()) out.push_back({text.substr(offset, end - offset), offset});
    offset = end == std::string_view::npos ? text.size() : end + 1;
  }
  return out;
}

// Lines from the middle of the text on; all lines of a short text.
std::vector<CsvLine> probe(std::string_view text) {
  auto lines = lines_from(text, 0, 2 * kProbeLines + 1);
  if (lines.size() > 2 * kProbeLines) {
    const auto middle = text.find('\n', text.size() / 2);
    auto later = lines_from(text, middle == std::string_view::npos ? 0 : middle + 1, kProbeLines);
    if (later.size() >= kProbeLines / 2) return later;
  }
  lines.erase(lines.begin(), lines.begin() + static_cast<std::ptrdiff_t>(lines.size() / 2));
  return lines;
}

struct Shape {
  char delimiter = ',', decimal = '.';
  std::size_t columns = 0;
  std::vector<bool> numeric;
  double score = 0;
};

// How well a delimiter and a decimal sign explain the lines: columns that are
// numbers count for it, columns of other text against it, lines of the commonest
// width only.
Shape shape_with(const std::vector<CsvLine>& lines, char delimiter, char decimal) {
  std::map<std::size_t, std::vector<std::vector<std::string_view>>> by_width;
  for (const CsvLine& line : lines) {
    auto cells = split_cells(line.text, delimiter);
    by_width[cells.size()].push_back(std::move(cells));
  }
  Shape out{delimiter, decimal, 0, {}, 0};
  if (by_width.empty()) return out;
  const auto& [width, rows] = *std::max_element(
      by_width.begin(), by_width.end(),
      [](const auto& a, const auto& b) { return a.second.size() < b.second.size(); });
  out.columns = width;
  double good = 0;
  for (std::size_t c = 0; c < width; ++c) {
    std::size_t numbers = 0, texts = 0;
    for (const auto& row : rows) {
      if (cell_number(row[c], decimal))
        ++numbers;
      else if (!row[c].empty())
        ++texts;
    }
    out.numeric.push_back(numbers > 0 && 10 * numbers >= 9 * rows.size());
    good += out.numeric.back() ? 1.0 : texts > 0 ? -1.0 : 0.0;
  }
  out.score = good * static_cast<double>(rows.size());
  if (std::count(out.numeric.begin(), out.numeric.end(), true) < 2) out.score = 0;
  return out;
}

bool is_row(std::string_view line, const Shape& shape) {
  const auto cells = split_cells(line, shape.delimiter);
  if (cells.size() != shape.columns) return false;
  for (std::size_t c = 0; c < cells.size(); ++c)
    if (shape.numeric[c] && !cell_number(cells[c], shape.decimal)) return false;
  return true;
}

bool looks_like_unit(std::string_view cell) {
  if (cell.empty() || cell.size() > 8) return false;
  if (cell.front() == '(' || cell.front() == '[') return true;
  static constexpr std::array<std::string_view, 12> kBare{"s", "ms", "us", "ns",   "V",   "mV",
                                                          "A", "mA", "uA", "Volt", "Amp", "Second"};
  return std::find(kBare.begin(), kBare.end(), cell) != kBare.end();
}

using Cells = std::vector<std::string_view>;

// A row above the samples that has a cell for every column of numbers.
bool covers(const Cells& cells, const Shape& shape) {
  for (std::size_t c = 0; c < shape.columns; ++c)
    if (shape.numeric[c] && (c >= cells.size() || cells[c].empty())) return false;
  return true;
}

bool all_units(const Cells& cells, const Shape& shape) {
  for (std::size_t c = 0; c < shape.columns; ++c)
    if (shape.numeric[c] && !looks_like_unit(cells[c])) return false;
  return true;
}

void take_header(const Cells& above, const Cells& two_above, const Shape& shape, CsvTable& out) {
  for (std::size_t c = 0; c < shape.columns; ++c) out.columns.push_back({"", "", shape.numeric[c]});
  if (!covers(above, shape)) return;
  const bool units = covers(two_above, shape) && all_units(above, shape);
  const Cells& names = units ? two_above : above;
  for (std::size_t c = 0; c < std::min(shape.columns, names.size()); ++c) {
    std::string_view name = names[c];
    if (c == 0)
      while (!name.empty() &&
             (name.front() == '#' || name.front() == '%' || is_blank(name.front())))
        name.remove_prefix(1);
    out.columns[c].name = std::string(name);
    if (units && c < above.size()) out.columns[c].unit = std::string(above[c]);
  }
}

void refuse_binary(std::string_view text, const std::string& file) {
  const auto head = text.substr(0, 4096);
  if (head.starts_with("\xFF\xFE") || head.starts_with("\xFE\xFF"))
    throw Error(Fault::usage, file + ": this is UTF-16 text; save it as plain text or UTF-8");
  if (head.find('\0') != std::string_view::npos)
    throw Error(Fault::usage, file + ": this is not text; export the capture as CSV");
}

Shape best_shape(std::string_view text, const std::string& file) {
  static constexpr std::array<std::pair<char, char>, 5> kFormats{
      {{',', '.'}, {';', '.'}, {'\t', '.'}, {';', ','}, {'\t', ','}}};
  const auto lines = probe(text);
  Shape best;
  for (const auto& [delimiter, decimal] : kFormats) {
    Shape shape = shape_with(lines, delimiter, decimal);
    if (shape.score > best.score) best = std::move(shape);
  }
  if (best.score > 0) return best;
  const auto top = lines_from(text, 0, 1);
  const std::string seen =
      top.empty() ? "the file is empty" : "it begins with " + quoted(top.front().text);
  throw Error(Fault::usage,
              file + ": no table of numbers: " + seen +
                  "; wanted are two or more columns parted by comma, semicolon or tab");
}

}  // namespace

std::string quoted(std::string_view text) {
  text = trim(text);
  return "\"" + std::string(text.substr(0, 40)) + (text.size() > 40 ? "...\"" : "\"");
}

std::vector<std::string_view> split_cells(std::string_view line, char delimiter) {
  std::vector<std::string_view> out;
  bool inside = false;
  std::size_t start = 0;
  for (std::size_t i = 0; i <= line.size(); ++i) {
    if (i < line.size() && line[i] == '"') inside = !inside;
    if (i < line.size() && (line[i] != delimiter || inside)) continue;
    out.push_back(unquoted(line.substr(start, i - start)));
    start = i + 1;
  }
  return out;
}

std::optional<double> cell_number(std::string_view cell, char decimal) {
  std::array<char, 64> copy{};
  if (decimal != '.') {
    if (cell.size() >= copy.size() || cell.find('.') != std::string_view::npos) return std::nullopt;
    std::replace_copy(cell.begin(), cell.end(), copy.begin(), decimal, '.');
    cell = {copy.data(), cell.size()};
  }
  if (cell.size() > 1 && cell.front() == '+' && cell[1] != '-') cell.remove_prefix(1);
  double value = 0;
  const char* end = cell.data() + cell.size();
  const auto result = std::from_chars(cell.data(), end, value);
  if (result.ec != std::errc{} || result.ptr != end || !std::isfinite(value)) return std::nullopt;
  return value;
}

int last_digit_power(std::string_view cell) {
  const auto exponent_at = std::min(cell.find_first_of("eE"), cell.size());
  const auto sign = cell.substr(0, exponent_at).find_first_of(".,");
  const int decimals =
      sign == std::string_view::npos ? 0 : static_cast<int>(exponent_at - sign) - 1;
  int exponent = 0;
  auto digits = cell.substr(std::min(exponent_at + 1, cell.size()));
  if (digits.starts_with('+')) digits.remove_prefix(1);
  std::from_chars(digits.data(), digits.data() + digits.size(), exponent);
  return exponent - decimals;
}

CsvTable find_table(std::string_view text, const std::string& file) {
  refuse_binary(text, file);
  const std::size_t mark = text.starts_with("\xEF\xBB\xBF") ? 3 : 0;
  const Shape shape = best_shape(text.substr(mark), file);
  CsvTable out;
  out.delimiter = shape.delimiter;
  out.decimal = shape.decimal;
  Cells above, two_above;
  std::size_t offset = mark;
  for (std::size_t line = 1; line <= kPreambleLines && offset < text.size(); ++line) {
    const auto end = std::min(text.find('\n', offset), text.size());
    const auto row = text.substr(offset, end - offset);
    if (is_row(row, shape)) {
      take_header(above, two_above, shape, out);
      out.first_line = line;
      out.first_offset = offset;
      return out;
    }
    if (!trim(row).empty()) two_above = std::exchange(above, split_cells(row, shape.delimiter));
    offset = end + 1;
  }
  throw Error(Fault::usage, file + ": no row of " + std::to_string(shape.columns) +
                                " cells in the first " + std::to_string(kPreambleLines) + " lines");
}

}  // namespace pinproof::tables
