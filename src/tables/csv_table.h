// Shape of a text table of samples: delimiter, decimal sign, header and first
// row. Inside the waveform folder only.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace pinproof::tables {

struct CsvColumn {
  std::string name;  ///< as written in the header row; empty without one
  std::string unit;  ///< of a row of units below it; empty without one
  bool numeric = false;
};

struct CsvTable {
  char delimiter = ',';
  char decimal = '.';
  std::vector<CsvColumn> columns;
  std::size_t first_line = 0;    ///< line of the first row of samples, from 1
  std::size_t first_offset = 0;  ///< its first byte
};

/// Cells of one line, without blanks and quotes around them; a delimiter inside
/// quotes does not part.
std::vector<std::string_view> split_cells(std::string_view line, char delimiter);

/// A finite number with the table's decimal sign, all of the cell or nothing.
std::optional<double> cell_number(std::string_view cell, char decimal);

/// Power of ten of the last printed digit: -5 for "0.00120", -6 for "1.20e-04".
/// The cell must be a number; either decimal sign.
int last_digit_power(std::string_view cell);

/// Judges delimiter and decimal sign by lines in the middle of the text, where
/// the samples are, and looks for the first row and the header from the top.
/// Throws Error(Fault::usage) with `file` in front: no table, or not plain text.
CsvTable find_table(std::string_view text, const std::string& file);

/// `text` in quotes for a message, shortened.
std::string quoted(std::string_view text);

}  // namespace pinproof::tables
