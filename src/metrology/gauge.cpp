#include "metrology/gauge.h"

#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "quantity/statistics.h"

namespace pinproof::metrology {
namespace {

constexpr double kPoolAbove = 0.25;
constexpr double kDistinct = std::numbers::sqrt2;

struct Sizes {
  std::size_t parts, operators, repeats;
};

Sizes sizes_of(const GaugeValues& values) {
  const Sizes out{values.size(), values.empty() ? 0 : values[0].size(),
                  values.empty() || values[0].empty() ? 0 : values[0][0].size()};
  if (out.parts < 2 || out.operators < 2 || out.repeats < 2)
    throw std::domain_error("a gauge study needs two parts, two operators and two repeats");
  for (const auto& part : values) {
    if (part.size() != out.operators) throw std::domain_error("a gauge study must be complete");
    for (const auto& cell : part)
      if (cell.size() != out.repeats) throw std::domain_error("a gauge study must be complete");
  }
  return out;
}

AnovaRow row(double sum, double df) { return {sum, df, sum / df}; }

double upper_tail(double F, double df1, double df2) {
  return boost::math::cdf(
      boost::math::complement(boost::math::fisher_f(df1, df2), std::max(F, 0.0)));
}

void add_sums(const GaugeValues& values, const Sizes& n, GaugeStudy& out) {
  const auto p = static_cast<double>(n.parts), o = static_cast<double>(n.operators),
             r = static_cast<double>(n.repeats);
  std::vector<double> by_part(n.parts), by_operator(n.operators);
  std::vector<std::vector<double>> cell(n.parts, std::vector<double>(n.operators));
  double grand = 0;
  for (std::size_t i = 0; i < n.parts; ++i)
    for (std::size_t j = 0; j < n.operators; ++j) {
      cell[i][j] = mean_of(values[i][j]);
      by_part[i] += cell[i][j] / o, by_operator[j] += cell[i][j] / p, grand += cell[i][j] / (p * o);
    }
  double parts = 0, operators = 0, cells = 0, repeats = 0;
  for (const double m : by_part) parts += o * r * (m - grand) * (m - grand);
  for (const double m : by_operator) operators += p * r * (m - grand) * (m - grand);
  for (std::size_t i = 0; i < n.parts; ++i)
    for (std::size_t j = 0; j < n.operators; ++j) {
      const double off = cell[i][j] - by_part[i] - by_operator[j] + grand;
      cells += r * off * off;
      for (const double x : values[i][j]) repeats += (x - cell[i][j]) * (x - cell[i][j]);
    }
  out.parts = row(parts, p - 1), out.operators = row(operators, o - 1);
  out.interaction = row(cells, (p - 1) * (o - 1)), out.repeats = row(repeats, p * o * (r - 1));
  out.total_sum = parts + operators + cells + repeats;
}

}  // namespace

GaugeStudy gauge_study(const GaugeValues& values, int pool) {
  const Sizes n = sizes_of(values);
  const auto p = static_cast<double>(n.parts), o = static_cast<double>(n.operators),
             r = static_cast<double>(n.repeats);
  GaugeStudy out;
  add_sums(values, n, out);
  out.F_interaction = out.interaction.mean_square / out.repeats.mean_square;
  out.p_interaction = upper_tail(out.F_interaction, out.interaction.df, out.repeats.df);
  out.pooled = pool < 0 ? out.p_interaction > kPoolAbove : pool == 1;
  const AnovaRow error =
      out.pooled ? row(out.interaction.sum + out.repeats.sum, out.interaction.df + out.repeats.df)
                 : out.interaction;
  out.F_parts = out.parts.mean_square / error.mean_square;
  out.F_operators = out.operators.mean_square / error.mean_square;
  out.p_parts = upper_tail(out.F_parts, out.parts.df, error.df);
  out.p_operators = upper_tail(out.F_operators, out.operators.df, error.df);
  out.var_repeat = out.pooled ? error.mean_square : out.repeats.mean_square;
  out.var_interaction_raw =
      out.pooled ? 0 : (out.interaction.mean_square - out.repeats.mean_square) / r;
  out.var_operator_raw = (out.operators.mean_square - error.mean_square) / (p * r);
  out.var_interaction = std::max(0.0, out.var_interaction_raw);
  out.var_operator = std::max(0.0, out.var_operator_raw);
  out.var_part = std::max(0.0, (out.parts.mean_square - error.mean_square) / (o * r));
  const double reproducibility = out.var_operator + out.var_interaction;
  out.repeatability = std::sqrt(out.var_repeat), out.reproducibility = std::sqrt(reproducibility);
  out.gauge = std::sqrt(out.var_repeat + reproducibility), out.part = std::sqrt(out.var_part);
  out.total = std::hypot(out.gauge, out.part);
  out.percent_of_total = 100 * out.gauge / out.total;
  out.distinct = kDistinct * out.part / out.gauge;
  return out;
}

double percent_of_tolerance(const GaugeStudy& study, double width) {
  return 100 * 6 * study.gauge / width;
}

}  // namespace pinproof::metrology
