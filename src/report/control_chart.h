// The control chart of a bench's reference resistor: for people, for programs, and drawn.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "metrology/control_chart.h"

namespace pinproof::report {

struct ChartCase {
  std::string bench;
  std::string check;                              ///< title of the check whose readings these are
  std::vector<std::string> at;                    ///< UTC, one a reading
  std::vector<metrology::ChartReading> readings;  ///< ohm, one at least
  std::vector<metrology::ChartPoint> points;      ///< one a reading
  metrology::ChartBasis basis;
  std::optional<metrology::Certificate> certificate;
  std::size_t without_value = 0;  ///< days that the check gave no reading
};

/// What to do with the bench: work, look into an earlier alarm, or stop at the newest.
enum class ChartState { good, earlier_alarm, alarm };
ChartState state_of(const ChartCase& one);

std::string chart_text(const ChartCase& one);
std::string chart_json(const ChartCase& one);
/// A page of its own with the run of the readings drawn.
std::string chart_html(const ChartCase& one);

}  // namespace pinproof::report
