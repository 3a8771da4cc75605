#include "metrology/control_chart.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace pinproof::metrology {
namespace {

// Mean range of two normal values over their deviation (6.3.2.2).
constexpr double kD2 = 1.128;

void expect_floor(double floor) {
  if (!std::isfinite(floor) || floor < 0)
    throw std::domain_error("the least sigma of a control chart must be 0 or more");
}

// How many of the last `window` points up to `at` lie beyond `z` on the side of the last one; 0
// where the last one does not.
std::size_t beyond(std::span<const ChartPoint> points, std::size_t at, std::size_t window,
                   double z) {
  const double side = points[at].z < 0 ? -1 : 1;
  if (!(side * points[at].z > z)) return 0;
  const auto run = points.subspan(at + 1 - std::min(window, at + 1), std::min(window, at + 1));
  return static_cast<std::size_t>(
      std::count_if(run.begin(), run.end(), [&](const ChartPoint& p) { return side * p.z > z; }));
}

}  // namespace

ChartBasis basis_from_readings(std::span<const double> readings, std::size_t count, double floor) {
  expect_floor(floor);
  if (count < kLeastBaseline || count > readings.size())
    throw std::domain_error("the baseline of a control chart needs ten readings or more");
  const auto base = readings.first(count);
  if (!std::all_of(base.begin(), base.end(), [](double x) { return std::isfinite(x); }))
    throw std::domain_error("a reading of the baseline is no number");
  ChartBasis out;
  out.baseline = count;
  const auto n = static_cast<double>(count);
  for (std::size_t k = 0; k < count; ++k) {
    out.centre += base[k] / n;
    if (k > 0) out.mean_range += std::abs(base[k] - base[k - 1]) / (n - 1);
  }
  out.sigma = out.mean_range / kD2;
  out.floored = out.sigma < floor;
  if (out.floored) out.sigma = floor;
  if (!(out.sigma > 0))
    throw std::domain_error("all readings of the baseline are equal: their resolution is wanted");
  return out;
}

ChartBasis basis_from_certificate(const Certificate& certificate, double floor) {
  expect_floor(floor);
  if (!std::isfinite(certificate.value) || !std::isfinite(certificate.U) || certificate.U <= 0)
    throw std::domain_error("a certificate needs a value and an uncertainty above 0");
  ChartBasis out;
  out.centre = certificate.value;
  out.sigma = std::max(certificate.U / 2, floor);
  out.floored = certificate.U / 2 < floor;
  return out;
}

std::vector<ChartPoint> control_points(std::span<const ChartReading> readings,
                                       const ChartBasis& basis,
                                       const std::optional<Certificate>& certificate) {
  std::vector<ChartPoint> out(readings.size());
  for (std::size_t k = 0; k < out.size(); ++k) {
    ChartPoint& point = out[k];
    point.z = (readings[k].value - basis.centre) / basis.sigma;
    point.beyond_three = !(std::abs(point.z) <= 3);  // also what is no number
    point.two_of_three = beyond(out, k, 3, 2) >= 2;
    point.four_of_five = beyond(out, k, 5, 1) >= 4;
    point.eight_on_side = beyond(out, k, 8, 0) == 8;
    if (certificate)
      point.outside_certificate = !(std::abs(readings[k].value - certificate->value) <=
                                    certificate->U + readings[k].accuracy);
  }
  return out;
}

}  // namespace pinproof::metrology
