#include "metrology/learned.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "metrology/lot_statistics.h"
#include "metrology/tolerance.h"

namespace pinproof::metrology {
namespace {

constexpr std::size_t kFewestParts = 3, kFewParts = 10, kFewLots = 5;
constexpr std::size_t kFewestForRobust = 7, kFewestForNormality = 8;
constexpr double kNotNormal = 0.05;

void expect(const Learning& how) {
  const auto inside = [](double p) { return p > 0 && p < 1; };
  const bool floors = how.resolution >= 0 && how.repeatability >= 0 &&
                      std::isfinite(how.resolution) && std::isfinite(how.repeatability);
  const bool share = std::isnan(how.assumed_lot_share) ||
                     (how.assumed_lot_share >= 0 && how.assumed_lot_share <= 1);
  if (!inside(how.coverage) || !inside(how.confidence) || !floors || !share)
    throw std::domain_error("shares inside (0, 1) and floors from 0 on are wanted");
}

double floor_of(const Learning& how) {
  return std::max(how.resolution / std::sqrt(12.0), how.repeatability);
}

std::vector<double> together(const ValuesByLot& lots) {
  std::vector<double> out;
  for (const auto& lot : lots) out.insert(out.end(), lot.begin(), lot.end());
  return out;
}

std::vector<std::size_t> sizes_of(const ValuesByLot& lots) {
  std::vector<std::size_t> out;
  for (const auto& lot : lots)
    if (!lot.empty()) out.push_back(lot.size());
  return out;
}

// Of the method's own measure of it, and a floor does not stand in for least and greatest.
bool has_spread(std::span<const double> values, const Learning& how) {
  if (how.method == LimitMethod::robust)
    return robust_of(values, how.spread, floor_of(how)).sigma > 0;
  const auto [least, greatest] = std::minmax_element(values.begin(), values.end());
  return *greatest > *least || (how.method == LimitMethod::normal && floor_of(how) > 0);
}

LearnRefusal refusal_by_method(std::size_t n, const Learning& how) {
  if (how.method == LimitMethod::nonparametric &&
      n < wilks_n(how.coverage, how.confidence, 0, true))
    return LearnRefusal::too_few_for_min_max;
  if (how.method == LimitMethod::robust && n < kFewestForRobust)
    return LearnRefusal::too_few_for_robust;
  return LearnRefusal::none;
}

double future_confidence(const ValuesByLot& lots, const LearnedLimits& learned,
                         const Learning& how) {
  const auto sizes = sizes_of(lots);
  LotModel model;
  model.coverage = how.coverage, model.method = how.method, model.spread = how.spread;
  model.k = learned.k;
  model.rho = learned.lots == 1 ? how.assumed_lot_share : learned.lot_share.rho;
  if (std::isnan(model.rho)) return model.rho;
  const bool even = std::all_of(sizes.begin(), sizes.end(),
                                [&](std::size_t size) { return size == sizes.front(); });
  return even && how.method == LimitMethod::normal
             ? normal_lot_confidence(sizes.size(), sizes.front(), model)
             : simulated_lot_confidence(sizes, model);
}

void set_limits(std::span<const double> values, const Learning& how, LearnedLimits& out) {
  if (how.method == LimitMethod::nonparametric) {
    const auto [least, greatest] = std::minmax_element(values.begin(), values.end());
    out.limits = Interval{*least, *greatest};
    return;
  }
  const double floor = floor_of(how);
  if (how.method == LimitMethod::robust) {
    const Robust robust = robust_of(values, how.spread, floor);
    out.middle = robust.middle, out.sigma = robust.sigma, out.floored = robust.floored;
    out.k = robust_factor(values.size(), how.coverage, how.confidence, how.spread);
  } else {
    out.middle = out.mean, out.sigma = std::max(out.sd, floor), out.floored = out.sd < floor;
    out.k = two_sided_factor(values.size(), how.coverage, how.confidence);
  }
  out.limits = Interval{out.middle - out.k * out.sigma, out.middle + out.k * out.sigma};
}

// What is told of the values whether or not limits are refused.
void describe(const ValuesByLot& lots, std::span<const double> values, const Learning& how,
              LearnedLimits& out) {
  const Moments moments = moments_of(values);
  out.mean = moments.mean, out.sd = moments.sd;
  out.lot_share = lot_share_of(lots);
  out.normality = normality_of(values);
  out.not_normal = out.normality.p < kNotNormal;
  out.confidence = how.method == LimitMethod::nonparametric
                       ? min_max_confidence(values.size(), how.coverage)
                       : how.confidence;
}

struct SumsOfSquares {
  double between = 0, within = 0;
};

SumsOfSquares sums_of(const ValuesByLot& lots, double grand) {
  SumsOfSquares out;
  for (const auto& lot : lots) {
    if (lot.empty()) continue;
    double mean = lot.front();
    if (lot.size() > 1) mean = moments_of(lot).mean;
    out.between += static_cast<double>(lot.size()) * (mean - grand) * (mean - grand);
    for (const double x : lot) out.within += (x - mean) * (x - mean);
  }
  return out;
}

}  // namespace

std::string refusal_text(LearnRefusal refusal) {
  switch (refusal) {
    case LearnRefusal::none:
      break;
    case LearnRefusal::not_finite:
      return "a value is no number";
    case LearnRefusal::too_few_parts:
      return "fewer than 3 parts";
    case LearnRefusal::one_lot:
      return "one lot tells nothing of what lots differ by";
    case LearnRefusal::no_spread:
      return "the values have no spread, and no resolution or repeatability is stated";
    case LearnRefusal::too_few_for_min_max:
      return "too few parts for least and greatest to be limits";
    case LearnRefusal::too_few_for_robust:
      return "fewer than 7 parts, too few for a robust deviation";
  }
  return {};
}

Normality normality_of(std::span<const double> values) {
  if (values.size() < kFewestForNormality) return {};
  const Moments moments = moments_of(values);
  if (!(moments.sd > 0)) return {};
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  const auto n = static_cast<double>(sorted.size());
  const auto log_below = [&](double x, double sign) {
    return std::log(std::erfc(-sign * (x - moments.mean) / (moments.sd * std::numbers::sqrt2)) / 2);
  };
  double sum = 0;
  for (std::size_t i = 0; i < sorted.size(); ++i)
    sum += (2 * static_cast<double>(i) + 1) *
           (log_below(sorted[i], 1) + log_below(sorted[sorted.size() - 1 - i], -1));
  const double A2 = (-n - sum / n) * (1 + 0.75 / n + 2.25 / (n * n));
  return {A2, normality_p(A2)};
}

double normality_p(double A2) {
  const double A = std::min(A2, 100.0);  // the formula's parabola turns at 153
  if (A >= 0.6) return std::exp(1.2937 - 5.709 * A + 0.0186 * A * A);
  if (A > 0.34) return std::exp(0.9177 - 4.279 * A - 1.38 * A * A);
  if (A > 0.2) return 1 - std::exp(-8.318 + 42.796 * A - 59.938 * A * A);
  return 1 - std::exp(-13.436 + 101.14 * A - 223.73 * A * A);
}

LotShare lot_share_of(const ValuesByLot& lots) {
  const auto values = together(lots);
  const auto sizes = sizes_of(lots);
  if (sizes.size() < 2 || values.size() == sizes.size()) return {};
  const auto n = static_cast<double>(values.size()), count = static_cast<double>(sizes.size());
  const SumsOfSquares sums = sums_of(lots, moments_of(values).mean);
  double squares = 0;
  for (const std::size_t size : sizes) squares += static_cast<double>(size * size);
  const double effective = (n - squares / n) / (count - 1);
  const double within = sums.within / (n - count);
  const double between = (sums.between / (count - 1) - within) / effective;
  if (!(sums.within + sums.between > 0)) return {};
  const double raw = between / (between + within);
  return {std::max(0.0, raw), raw};
}

LearnRefusal refusal_of(const ValuesByLot& lots, const Learning& how) {
  expect(how);
  const auto values = together(lots);
  if (!std::all_of(values.begin(), values.end(), [](double x) { return std::isfinite(x); }))
    return LearnRefusal::not_finite;
  if (values.size() < kFewestParts) return LearnRefusal::too_few_parts;
  if (sizes_of(lots).size() == 1 && !how.allow_few_lots) return LearnRefusal::one_lot;
  if (const LearnRefusal by_method = refusal_by_method(values.size(), how);
      by_method != LearnRefusal::none)
    return by_method;
  return has_spread(values, how) ? LearnRefusal::none : LearnRefusal::no_spread;
}

LearnedLimits learn_limits(const ValuesByLot& lots, const Learning& how) {
  LearnedLimits out;
  out.refusal = refusal_of(lots, how);
  const auto values = together(lots);
  out.n = values.size(), out.lots = sizes_of(lots).size();
  out.provisional = out.n < kFewParts, out.few_lots = out.lots < kFewLots;
  if (out.refusal == LearnRefusal::not_finite || out.n < 2) return out;
  describe(lots, values, how, out);
  if (out.refusal != LearnRefusal::none) return out;
  set_limits(values, how, out);
  out.future_confidence = future_confidence(lots, out, how);
  return out;
}

}  // namespace pinproof::metrology
