// One figure over a lot of any size, in memory that does not grow with the lot. Pure.
#pragma once

#include <cstdint>
#include <vector>

#include "metrology/lot_statistics.h"

namespace pinproof::metrology {

/// A value at the edge of a lot, and whose it is.
struct Extreme {
  double value = 0;
  std::int64_t part = 0;
};

/// Straight line through the values in the order in which they came.
struct Drift {
  double per_part = 0;  ///< slope
  double over_lot = 0;  ///< slope times (n - 1)
  double p = 1;         ///< that no drift looks like this, Student's t, two-sided
};

/// Some neighbours of a run chart taken together.
struct Block {
  std::size_t n = 0;
  double sum = 0, low = 0, high = 0;
};

class LotSeries {
 public:
  static constexpr std::size_t kExtremes = 24;  ///< kept at each end
  static constexpr std::size_t kBlocks = 256;

  /// What is no number counts as missing.
  void add(std::int64_t part, double value);

  std::size_t n() const { return n_; }
  std::size_t missing() const { return missing_; }
  /// Mean and standard deviation by updating (Welford 1962). At least two values.
  Moments moments() const;
  std::vector<Extreme> lowest() const;   ///< ascending
  std::vector<Extreme> highest() const;  ///< descending
  /// Three values at least; p is 1 without spread.
  Drift drift() const;
  const std::vector<Block>& blocks() const { return blocks_; }
  std::size_t values_a_block() const { return block_size_; }

 private:
  void keep_extreme(std::int64_t part, double value);
  void chart(double value);

  std::size_t n_ = 0, missing_ = 0;
  double mean_ = 0, squares_ = 0, cross_ = 0;
  std::vector<Extreme> low_, high_;  // heaps, the innermost on top
  std::vector<Block> blocks_;
  std::size_t block_size_ = 1;
};

/// The test of generalised_esd() from the ends of the series alone: each step takes out the
/// farthest, and mean and deviation follow. `most` is held below kExtremes. What was taken out is
/// `taken`, of which the first `outliers` are.
struct EsdOfSeries {
  std::vector<Extreme> taken;
  std::vector<double> R, lambda;
  std::size_t outliers = 0;
};
EsdOfSeries generalised_esd(const LotSeries& series, std::size_t most, double alpha);

/// Two-sided Clopper-Pearson interval of a share (exact). n >= 1, k <= n, confidence in (0, 1).
Interval share_interval(std::size_t k, std::size_t n, double confidence);

/// Difference of two means with its two-sided confidence interval (Welch 1947) and p.
struct MeanShift {
  double shift = 0;
  Interval interval;
  double p = 1;
};
/// At least two values each; with no spread at all p is 1 or 0.
MeanShift mean_shift(const Moments& a, std::size_t n_a, const Moments& b, std::size_t n_b,
                     double confidence);

}  // namespace pinproof::metrology
