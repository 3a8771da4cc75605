// Tables that people and the daily check write: a crossed gauge study, and the log of a bench's
// reference resistor. Commas part the cells, a point is the decimal sign, quotes after RFC 4180.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "metrology/control_chart.h"
#include "metrology/gauge.h"

namespace pinproof::tables {

struct GaugeTable {
  std::vector<std::string> parts, operators;  ///< in the order in which the file names them
  std::size_t repeats = 0;
  metrology::GaugeValues values;  ///< [part][operator][repeat], complete
};

/// Columns part, operator, repeat (1, 2, ...) and value by their names, in any order. Throws
/// Error(Fault::usage) with file, line and reason: unknown, doubled or missing columns, cells that
/// do not fit their column, doubled and missing readings, fewer than two of anything.
GaugeTable parse_gauge_csv(std::string_view text, const std::string& file);

struct ReferenceLog {
  std::string bench;
  std::string check;                              ///< title of the check that was taken
  std::vector<std::string> at;                    ///< UTC, ISO 8601, rising
  std::vector<metrology::ChartReading> readings;  ///< ohm
  std::size_t without_value = 0;                  ///< rows of the check that hold no reading
};

/// The log of `pinproof bench --check --log`. Of the checks whose title has "reference" in it, the
/// first one of the file is taken: one reading a check of the bench. `bench` may be empty where the
/// log knows one bench only. Throws Error(Fault::usage) with file, line and reason.
ReferenceLog parse_reference_log(std::string_view text, const std::string& file,
                                 const std::string& bench);

}  // namespace pinproof::tables
