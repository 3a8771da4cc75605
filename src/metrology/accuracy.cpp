#include "metrology/accuracy.h"

#include <cmath>

namespace pinproof::metrology {

std::optional<double> standard_uncertainty(const AccuracyTable& table, std::string_view function,
                                           double range, double reading) {
  for (const AccuracyEntry& entry : table) {
    if (entry.function != function || entry.range != range) continue;
    if (!(std::abs(reading) <= entry.range * entry.over)) return std::nullopt;
    const double limit =
        1e-6 * (entry.reading_ppm * std::abs(reading) + entry.range_ppm * entry.range);
    return std::hypot(limit / std::sqrt(3.0), entry.resolution / std::sqrt(12.0));
  }
  return std::nullopt;
}

std::optional<double> pick_range(const AccuracyTable& table, std::string_view function,
                                 double expected) {
  std::optional<double> best;
  for (const AccuracyEntry& entry : table)
    if (entry.function == function && std::abs(expected) <= entry.range * entry.over &&
        (!best || entry.range < *best))
      best = entry.range;
  return best;
}

}  // namespace pinproof::metrology
