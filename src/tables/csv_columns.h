// Which columns of a table hold time, current and voltage, and in what unit.
// Inside the waveform folder only.
#pragma once

#include <cstddef>
#include <optional>
#include <string>

#include "tables/capture_csv.h"
#include "tables/csv_table.h"

namespace pinproof::tables {

struct ChosenColumn {
  std::size_t index = 0;
  std::string header;
  double scale = 1;  ///< to seconds, amperes or volts (of a shunt: to amperes)
};

struct ChosenColumns {
  ChosenColumn time, current;
  std::optional<ChosenColumn> voltage;
};

/// By the options where they name a column, else by header name, else by unit.
/// Throws Error(Fault::usage): no such column, more than one that fits, a unit
/// that does not.
ChosenColumns choose_columns(const CsvTable& table, const CsvOptions& options);

}  // namespace pinproof::tables
