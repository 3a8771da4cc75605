// What a bench adds to what it measures: a crossed study of parts, operators and repeats. Pure.
#pragma once

#include <cstddef>
#include <vector>

namespace pinproof::metrology {

/// value[part][operator][repeat], all of one size; two parts, two operators and two repeats at
/// least.
using GaugeValues = std::vector<std::vector<std::vector<double>>>;

struct AnovaRow {
  double sum = 0;  ///< of squares
  double df = 0;
  double mean_square = 0;
};

struct GaugeStudy {
  AnovaRow parts, operators, interaction, repeats;
  double total_sum = 0;
  double F_interaction = 0, p_interaction = 0;
  double F_parts = 0, p_parts = 0, F_operators = 0, p_operators = 0;
  bool pooled = false;  ///< interaction and repeats taken together: p above 0.25
  double var_repeat = 0, var_operator = 0, var_interaction = 0, var_part = 0;
  double var_interaction_raw = 0, var_operator_raw = 0;  ///< before a negative one became nothing
  double repeatability = 0, reproducibility = 0, gauge = 0, part = 0, total = 0;  ///< as deviations
  double percent_of_total = 0;  ///< gauge of total
  double distinct = 0;          ///< sqrt 2 times part / gauge; what is printed is its whole part
};

/// Two-way analysis of variance with random effects (AIAG MSA 4th edition, chapter III). `pool`
/// 1: pooled, 0: not, -1: by the interaction's p. Throws std::domain_error for an incomplete study.
GaugeStudy gauge_study(const GaugeValues& values, int pool = -1);

/// Gauge as a share of the tolerance: 6 sigma over its width.
double percent_of_tolerance(const GaugeStudy& study, double width);

}  // namespace pinproof::metrology
