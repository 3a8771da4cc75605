// An instrument's accuracy as data: u = a / sqrt(3) with
// a = reading_ppm * |reading| + range_ppm * range (JCGM 100, 4.3.7: a maker's
// limits without a stated level are the ends of a rectangle).
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace pinproof::metrology {

struct AccuracyEntry {
  std::string function;  ///< "ohm-4w", "ohm-2w", "volt", ...
  double range = 0;      ///< nominal end of the range, in the function's unit
  double over = 1;       ///< readings go up to range * over
  double reading_ppm = 0;
  double range_ppm = 0;
  double resolution = 0;        ///< one digit, where the ppm figures do not cover it; 0 if they do
  double two_wire_add_ohm = 0;  ///< added limit of a two-wire reading without a lead null
  double test_current_A = 0;
  std::string source;
};

using AccuracyTable = std::vector<AccuracyEntry>;

/// Standard uncertainty (k = 1) of `reading` taken in `range`. nullopt when the
/// table has no such range, or the reading is not a number or beyond the range.
std::optional<double> standard_uncertainty(const AccuracyTable& table, std::string_view function,
                                           double range, double reading);

/// Smallest range that shows `expected`; nullopt when none does.
std::optional<double> pick_range(const AccuracyTable& table, std::string_view function,
                                 double expected);

}  // namespace pinproof::metrology
