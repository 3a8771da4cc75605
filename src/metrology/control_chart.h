// Whether a bench that reads the same resistor every day still does: an individuals control chart
// (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2). Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace pinproof::metrology {

/// Where the chart stands, in the unit of the readings.
struct ChartBasis {
  double centre = 0;
  double sigma = 0;          ///< what the limits are drawn with, above 0
  std::size_t baseline = 0;  ///< readings that it comes from; 0: from a certificate
  double mean_range = 0;     ///< of neighbouring readings of the baseline; 0 without one
  bool floored = false;      ///< the scatter was less than `floor`, which stands for it

  double lower() const { return centre - 3 * sigma; }
  double upper() const { return centre + 3 * sigma; }
};

inline constexpr std::size_t kLeastBaseline = 10;

/// Centre: mean of the first `count` readings; sigma: their mean moving range over d2 = 1.128
/// (6.3.2.2), not below `floor` (resolution or repeatability, as a standard uncertainty, 0 or
/// more). Throws std::domain_error below ten readings, for what is no number and where all
/// readings are equal and `floor` is 0.
ChartBasis basis_from_readings(std::span<const double> readings, std::size_t count, double floor);

/// A reference with its certificate: value and expanded uncertainty (k = 2).
struct Certificate {
  double value = 0;
  double U = 0;  ///< above 0
};

/// Centre: the certificate's value; sigma: U / 2, not below `floor`.
ChartBasis basis_from_certificate(const Certificate& certificate, double floor);

struct ChartReading {
  double value = 0;
  double accuracy = 0;  ///< expanded (k = 2), of what read it; for the hard limit only
};

/// Which rules a reading breaks. A run breaks its rule at the reading that completes it.
struct ChartPoint {
  double z = 0;                      ///< from the centre, in sigma
  bool beyond_three = false;         ///< outside 3 sigma
  bool two_of_three = false;         ///< two of the last three beyond 2 sigma, on one side
  bool four_of_five = false;         ///< four of the last five beyond 1 sigma, on one side
  bool eight_on_side = false;        ///< the last eight on one side of the centre
  bool outside_certificate = false;  ///< farther from its value than U and accuracy together

  bool any() const {
    return beyond_three || two_of_three || four_of_five || eight_on_side || outside_certificate;
  }
};

/// One point a reading, in their order. The rules are the Western Electric ones of 6.3.2; a run of
/// them needs the last reading in it. The hard limit needs a certificate.
std::vector<ChartPoint> control_points(std::span<const ChartReading> readings,
                                       const ChartBasis& basis,
                                       const std::optional<Certificate>& certificate);

}  // namespace pinproof::metrology
