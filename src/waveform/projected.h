// The projected problem of a sum of exponentials: amplitudes solved for, and
// what Kaufman's form needs to move the rates. Inside the waveform folder only.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "waveform/block_moments.h"
#include "waveform/exponentials.h"

namespace pinproof::waveform {

inline constexpr std::size_t kMostColumns = kMostExponentials + 1;
using RateVector = std::array<double, kMostExponentials>;  ///< ln of the rate an interval
using ColumnVector = std::array<double, kMostColumns>;

struct ProjectedShape {
  std::size_t terms = 1;
  bool constant = true;
  std::size_t columns() const { return terms + (constant ? 1 : 0); }
};

/// At one set of rates. Columns: the constant first where there is one.
struct Projected {
  bool valid = false;  ///< false where the columns cannot be told apart
  ColumnVector c{};
  double rss = 0;
  RateVector gradient{};  ///< of -rss / 2 by the logarithms of the rates
  std::array<RateVector, kMostExponentials> hessian{};  ///< Kaufman's, of rss / 2
  std::array<ColumnVector, kMostColumns> factor{};  ///< lower triangle of the columns' Gram matrix
  std::array<ColumnVector, kMostExponentials> response{};  ///< change of c with each rate
};

/// Solves (H + damping diag H) step = gradient, shortened to `longest`; nullopt
/// where H is not positive definite.
std::optional<RateVector> marquardt_step(const Projected& at, std::size_t terms, double damping,
                                         double longest);

struct Deviations {
  RateVector log_rate{};
  ColumnVector c{};
};
/// Standard deviations for a noise of one.
Deviations deviations(const Projected& at, const ProjectedShape& shape);

/// The rungs, in rising order, whose exponentials together leave the lowest sum
/// of squares: `rss_of` says it of a choice.
template <class Rss>
RateVector best_choice(std::span<const double> log_rates, std::size_t terms, const Rss& rss_of) {
  std::array<std::size_t, kMostExponentials> pick{0, 1, 2};
  double lowest = std::numeric_limits<double>::infinity();
  RateVector best{};
  while (pick[terms - 1] < log_rates.size()) {
    if (const double rss = rss_of(pick); rss < lowest) {
      lowest = rss;
      for (std::size_t j = 0; j < terms; ++j) best[j] = log_rates[pick[j]];
    }
    // The next combination in lexical order.
    std::size_t j = terms;
    while (j > 0 && ++pick[j - 1] > log_rates.size() - (terms - j + 1)) --j;
    if (j == 0) break;
    for (std::size_t i = j; i < terms; ++i) pick[i] = pick[i - 1] + 1;
  }
  return best;
}

/// Of many samples, through their block moments.
class BlockProblem {
 public:
  BlockProblem(const BlockMoments& blocks, const ProjectedShape& shape);
  double samples() const { return blocks_.samples(); }
  double rounding() const { return 1e-15 * blocks_.square(); }
  /// A step that moves no rate by more than this share of its noise is the last.
  Projected at(const RateVector& log_rate) const;
  double still() const { return 0.02; }
  RateVector best_of(std::span<const double> log_rates) const;

 private:
  const BlockMoments& blocks_;
  ProjectedShape shape_;
  double sum_ = 0;  // of y
};

/// Of the samples themselves, by QR: slow and sharp.
class SampleProblem {
 public:
  SampleProblem(std::span<const double> y, const ProjectedShape& shape);
  double samples() const { return static_cast<double>(y_.size()); }
  double rounding() const { return 1e-28 * square_; }
  Projected at(const RateVector& log_rate) const;
  double still() const { return 1e-9; }
  RateVector best_of(std::span<const double> log_rates) const;

 private:
  std::span<const double> y_;
  ProjectedShape shape_;
  double square_ = 0;
};

}  // namespace pinproof::waveform
