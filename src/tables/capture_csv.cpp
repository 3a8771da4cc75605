#include "tables/capture_csv.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <vector>

#include "quantity/error.h"
#include "quantity/statistics.h"
#include "quantity/text.h"
#include "tables/csv_columns.h"
#include "tables/csv_table.h"

namespace pinproof::tables {
namespace {

constexpr double kEvenWithin = 0.01;  // of a step
constexpr double kCoarsestDigit =
    0.5;  // of a step: a coarser last digit could hide a missing sample

class RowReader {
 public:
  RowReader(std::string_view text, const CsvTable& table, const CsvOptions& options)
      : text_(text), table_(table), options_(options), columns_(choose_columns(table, options)) {
    slots_.assign(table.columns.size(), kUnused);
    slots_[columns_.time.index] = 0;
    slots_[columns_.current.index] = 1;
    if (columns_.voltage) slots_[columns_.voltage->index] = 2;
  }

  ReadCapture run() {
    read_rows();
    if (times_.size() < options_.fewest_rows)
      refuse(std::to_string(times_.size()) + " rows of samples; at least " +
             std::to_string(options_.fewest_rows) + " are needed");
    to_si();
    even_out();
    out_.rows = times_.size();
    out_.time_header = columns_.time.header;
    out_.current_header = columns_.current.header;
    if (columns_.voltage) out_.voltage_header = columns_.voltage->header;
    return std::move(out_);
  }

 private:
  static constexpr int kUnused = -1;

  [[noreturn]] void refuse(const std::string& what) const {
    throw Error(Fault::usage, options_.file + ": " + what);
  }
  [[noreturn]] void refuse_cell(std::size_t line, std::size_t column, std::string_view found) const;
  [[noreturn]] void refuse_width(std::size_t line, std::size_t cells, bool complete) const;
  [[noreturn]] void refuse_time(std::size_t row, double usual) const;
  double usual_step() const;
  void read_rows();
  void read_row(std::string_view row, std::size_t line, bool complete);
  void take_cell(std::string_view cell, std::size_t column, std::size_t line);
  std::string without_quotes(std::string_view row) const;
  void to_si();
  void even_out();
  void resample(double step);
  std::size_t line_of(std::size_t row) const;

  std::string_view text_;
  const CsvTable& table_;
  const CsvOptions& options_;
  ChosenColumns columns_;
  std::vector<int> slots_;  // of each column: 0 time, 1 current, 2 voltage
  std::vector<double> times_;
  std::vector<std::size_t> blank_before_;  // row numbers with an empty line above
  std::array<double, 3> values_{};         // of the row being read
  int digit_power_ = -300;                 // of the times' last printed digit
  ReadCapture out_;
};

void RowReader::refuse_cell(std::size_t line, std::size_t column, std::string_view found) const {
  const auto& name = table_.columns[column].name;
  refuse("line " + std::to_string(line) + ", column " + std::to_string(column + 1) +
         (name.empty() ? "" : " " + quoted(name)) + ": found " + quoted(found) +
         "; a finite number with '" + table_.decimal + "' as its decimal sign is wanted");
}

void RowReader::refuse_width(std::size_t line, std::size_t cells, bool complete) const {
  const std::string sign =
      table_.delimiter == '\t' ? "a tab" : std::string("'") + table_.delimiter + "'";
  refuse("line " + std::to_string(line) + ": " + std::to_string(cells) +
         (cells == 1 ? " cell" : " cells") + " parted by " + sign + " where the first row has " +
         std::to_string(table_.columns.size()) +
         (complete ? "" : "; the file is cut off in its last line"));
}

void RowReader::read_rows() {
  // A row is rarely longer than the first one.
  const std::size_t first = text_.find('\n', table_.first_offset);
  const std::size_t guess =
      (text_.size() - table_.first_offset) /
          std::max<std::size_t>(8, std::min(first, text_.size()) - table_.first_offset) +
      16;
  for (auto* column : {&times_, &out_.capture.current_A, &out_.capture.voltage_V})
    if (column != &out_.capture.voltage_V || columns_.voltage) column->reserve(guess);
  std::size_t line = table_.first_line;
  for (std::size_t at = table_.first_offset; at < text_.size(); ++line) {
    const void* found = std::memchr(text_.data() + at, '\n', text_.size() - at);
    const std::size_t end =
        found ? static_cast<std::size_t>(static_cast<const char*>(found) - text_.data())
              : text_.size();
    std::string_view row = text_.substr(at, end - at);
    if (row.ends_with('\r')) row.remove_suffix(1);
    if (row.find_first_not_of(" \t") == std::string_view::npos)
      blank_before_.push_back(times_.size());
    else if (std::memchr(row.data(), '"', row.size()) != nullptr)
      read_row(without_quotes(row), line, found != nullptr);
    else
      read_row(row, line, found != nullptr);
    at = end + 1;
  }
}

// Quotes may hide delimiters and stand around numbers: the slow way.
std::string RowReader::without_quotes(std::string_view row) const {
  std::string plain;
  for (const auto cell : split_cells(row, table_.delimiter)) {
    if (cell.find(table_.delimiter) == std::string_view::npos) plain += cell;
    plain += table_.delimiter;
  }
  plain.pop_back();
  return plain;
}

void RowReader::take_cell(std::string_view cell, std::size_t column, std::size_t line) {
  while (!cell.empty() && cell.front() == ' ') cell.remove_prefix(1);
  while (!cell.empty() && cell.back() == ' ') cell.remove_suffix(1);
  const auto value = cell_number(cell, table_.decimal);
  if (!value) refuse_cell(line, column, cell);
  const int slot = slots_[column];
  values_[static_cast<std::size_t>(slot)] = *value;
  // Zero in scientific notation has an exponent that says nothing.
  if (slot == 0 && *value != 0) digit_power_ = std::max(digit_power_, last_digit_power(cell));
}

// Walks the cells without storing them; only wanted ones are read.
void RowReader::read_row(std::string_view row, std::size_t line, bool complete) {
  std::size_t column = 0;
  const char* at = row.data();
  const char* const end = at + row.size();
  for (;; ++column) {
    const char* const stop = std::find(at, end, table_.delimiter);
    const bool last = stop == end;
    if (column == slots_.size()) {
      if (last && stop == at) break;  // one delimiter at the end of the line
      refuse_width(line, split_cells(row, table_.delimiter).size(), complete);
    }
    if (last && column + 1 < slots_.size()) refuse_width(line, column + 1, complete);
    if (slots_[column] != kUnused)
      take_cell({at, static_cast<std::size_t>(stop - at)}, column, line);
    if (last) break;
    at = stop + 1;
  }
  times_.push_back(values_[0]);
  out_.capture.current_A.push_back(values_[1]);
  if (columns_.voltage) out_.capture.voltage_V.push_back(values_[2]);
}

void RowReader::to_si() {
  const auto scale = [](std::vector<double>& x, double by) {
    if (by != 1)
      for (double& s : x) s *= by;
  };
  scale(times_, columns_.time.scale);
  scale(out_.capture.current_A, columns_.current.scale);
  if (columns_.voltage) scale(out_.capture.voltage_V, columns_.voltage->scale);
}

std::size_t RowReader::line_of(std::size_t row) const {
  const auto blanks =
      std::upper_bound(blank_before_.begin(), blank_before_.end(), row) - blank_before_.begin();
  return table_.first_line + row + static_cast<std::size_t>(blanks);
}

void RowReader::refuse_time(std::size_t row, double usual) const {
  const std::string where = "line " + std::to_string(line_of(row)) + ": time " +
                            exact(times_[row]) + " s after " + exact(times_[row - 1]) + " s";
  if (!(times_[row] > times_[row - 1]))
    refuse(where + "; time must rise from row to row (are its digits too few?)");
  refuse(where + " where " + exact(usual) +
         " s is the usual step; steps may differ by 1 %: samples are missing or doubled");
}

// Median of the steps: one gap does not move it.
double RowReader::usual_step() const {
  std::vector<double> steps(times_.size() - 1);
  for (std::size_t k = 0; k < steps.size(); ++k) steps[k] = times_[k + 1] - times_[k];
  return upper_median_of(std::move(steps));
}

// Exports round their times; the grid is judged within what the last printed
// digit can show, as long as a missing sample would still stand out.
void RowReader::even_out() {
  const double usual = usual_step();
  for (std::size_t k = 1; k < times_.size(); ++k)
    if (!(times_[k] > times_[k - 1])) refuse_time(k, usual);
  const double digit = std::pow(10.0, digit_power_) * columns_.time.scale;
  const double rounding = digit <= kCoarsestDigit * usual ? 1.01 * digit : 0;
  const double allowed = std::max(kEvenWithin * usual, rounding);
  for (std::size_t k = 1; k < times_.size(); ++k)
    if (std::abs(times_[k] - times_[k - 1] - usual) > allowed) refuse_time(k, usual);
  const double step = (times_.back() - times_.front()) / static_cast<double>(times_.size() - 1);
  bool on_grid = true;
  for (std::size_t k = 1; k < times_.size() && on_grid; ++k)
    on_grid = std::abs(times_[k] - times_.front() - static_cast<double>(k) * step) <= allowed;
  out_.capture.start_s = times_.front();
  out_.capture.interval_s = step;
  if (!on_grid) resample(step);
}

// Straight lines between the samples.
void RowReader::resample(double step) {
  for (auto* x : {&out_.capture.current_A, &out_.capture.voltage_V}) {
    if (x->empty()) continue;
    std::vector<double> even(x->size());
    std::size_t k = 0;
    for (std::size_t j = 0; j < even.size(); ++j) {
      const double t = times_.front() + static_cast<double>(j) * step;
      while (k + 2 < times_.size() && times_[k + 1] < t) ++k;
      const double share = std::clamp((t - times_[k]) / (times_[k + 1] - times_[k]), 0.0, 1.0);
      even[j] = (*x)[k] + share * ((*x)[k + 1] - (*x)[k]);
    }
    *x = std::move(even);
  }
  out_.resampled = true;
}

}  // namespace

void take_columns(std::string_view text, CsvOptions& options) {
  for (std::size_t at = 0; at < text.size();) {
    bool inside = false;
    std::size_t end = at;
    while (end < text.size() && (inside || text[end] != ',')) inside ^= text[end++] == '"';
    const auto part = text.substr(at, end - at);
    const auto sign = part.find('=');
    const auto key = part.substr(0, sign);
    std::string* target = key == "time"      ? &options.time
                          : key == "current" ? &options.current
                          : key == "voltage" ? &options.voltage
                                             : nullptr;
    auto name = sign == std::string_view::npos ? std::string_view{} : part.substr(sign + 1);
    if (name.size() >= 2 && name.front() == '"' && name.back() == '"')
      name = name.substr(1, name.size() - 2);
    if (target == nullptr || name.empty() || inside)
      throw Error(Fault::usage,
                  "--columns: found " + quoted(part) +
                      "; wanted is time=NAME, current=NAME or voltage=NAME, parted by commas");
    *target = std::string(name);
    at = end + 1;
  }
}

ReadCapture read_capture_csv(std::string_view text, const CsvOptions& options) {
  const CsvTable table = find_table(text, options.file);
  return RowReader(text, table, options).run();
}

}  // namespace pinproof::tables
