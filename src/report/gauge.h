// What a crossed gauge study says about a bench: for people, for programs, and drawn.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "metrology/gauge.h"

namespace pinproof::report {

struct GaugeCase {
  metrology::GaugeStudy study;
  std::size_t parts = 0, operators = 0, repeats = 0;
  std::optional<double> tolerance;  ///< width of the limits that parts are judged by, above 0
  std::optional<double> U;          ///< expanded uncertainty (k = 2) of one reading, above 0
  std::string unit;                 ///< as it shall be written
  std::string quantity;             ///< "Resistance"
  int pool = -1;                    ///< as gauge_study() was asked
  std::vector<std::string> part_names, operator_names;
  metrology::GaugeValues values;  ///< [part][operator][repeat]

  /// What decides, in percent: of the tolerance where one is given, else of the total spread.
  double deciding_percent() const;
};

/// AIAG, Measurement Systems Analysis, 4th edition, chapter II section D: under 10 % good, up to
/// 30 % perhaps fit, above not fit.
enum class GaugeFit { good, maybe, unfit };
GaugeFit fit_of(const GaugeCase& one);

std::string gauge_text(const GaugeCase& one);
std::string gauge_json(const GaugeCase& one);
/// A page of its own with means and ranges drawn.
std::string gauge_html(const GaugeCase& one);

}  // namespace pinproof::report
