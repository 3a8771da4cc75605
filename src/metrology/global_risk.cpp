#include "metrology/global_risk.h"

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <vector>

namespace pinproof::metrology {
namespace {

constexpr double kReach = 9;    // deviations, beyond which a normal density adds less than 1e-18
constexpr double kPanel = 0.5;  // of the lesser deviation: smooth for the rule's order

// P(N(0, 1) lies in [a, b]) with all its digits in either tail.
double normal_between(double a, double b) {
  if (!(b > a)) return 0;
  if (a > 0) return normal_between(-b, -a);
  return (std::erfc(-b / std::numbers::sqrt2) - std::erfc(-a / std::numbers::sqrt2)) / 2;
}

double normal_outside(double a, double b) {
  if (!(b > a)) return 1;
  return (std::erfc(-a / std::numbers::sqrt2) + std::erfc(b / std::numbers::sqrt2)) / 2;
}

template <class Function>
double integral(const Function& f, double from, double to, double step) {
  if (!(to > from)) return 0;
  const auto panels = static_cast<std::size_t>(std::ceil((to - from) / step));
  const double width = (to - from) / static_cast<double>(panels);
  double sum = 0;
  for (std::size_t i = 0; i < panels; ++i) {
    const double left = from + static_cast<double>(i) * width;
    sum += boost::math::quadrature::gauss<double, 20>::integrate(f, left, left + width);
  }
  return sum;
}

}  // namespace

GlobalRisk global_risk(const std::function<double(double)>& density, const Interval& support,
                       double u, const Interval& tolerance, const Interval& acceptance) {
  if (!(u > 0) || !std::isfinite(support.width()))
    throw std::domain_error("a positive uncertainty and a finite support are wanted");
  const auto accepted = [&](double x) {
    return density(x) * normal_between((acceptance.low - x) / u, (acceptance.high - x) / u);
  };
  const auto turned_away = [&](double x) {
    return density(x) * normal_outside((acceptance.low - x) / u, (acceptance.high - x) / u);
  };
  const double step = std::min(kPanel * u, support.width() / 64);
  const double low = std::clamp(tolerance.low, support.low, support.high);
  const double high = std::clamp(tolerance.high, low, support.high);
  GlobalRisk out;
  out.consumer =
      integral(accepted, support.low, low, step) + integral(accepted, high, support.high, step);
  out.producer = integral(turned_away, low, high, step);
  out.accepted = out.consumer + integral(accepted, low, high, step);
  return out;
}

GlobalRisk global_risk(const Estimate& process, double u, const Interval& tolerance,
                       const Interval& acceptance) {
  if (!(process.u > 0)) throw std::domain_error("a positive deviation is wanted");
  const auto density = [&](double x) {
    const double z = (x - process.value) / process.u;
    return std::exp(-z * z / 2) / (process.u * std::sqrt(2 * std::numbers::pi));
  };
  const double reach = kReach * process.u;
  return global_risk(density, {process.value - reach, process.value + reach}, u, tolerance,
                     acceptance);
}

}  // namespace pinproof::metrology
