// Inside of the study of a lot: what its files share.
#pragma once

#include <map>
#include <unordered_set>

#include "lot/study.h"

namespace pinproof::lot {

/// Some packs of a lot, spread evenly over it: values[pack][column], NaN where there is none.
struct LotSample {
  std::vector<std::int64_t> kinds;  ///< of the columns
  std::vector<std::int64_t> numbers;
  std::vector<std::vector<double>> rows;
};
/// `left_out`: attempts that do not count.
LotSample sample_lot(const record::Ledger& ledger, const std::string& lot, std::size_t at_most,
                     const std::unordered_set<std::int64_t>& left_out);

/// Packs that stand out, each with all its reasons.
class Outliers {
 public:
  /// Distances need the middle and covariance, which come from the sample.
  Outliers(LotStudy& study, const LotSample& sample);
  /// Values come attempt by attempt, figures in the order of their kinds.
  void add(std::int64_t attempt, const LotFigure& figure, double value) {
    if (attempt != now_) end_pack(), now_ = attempt;
    if (!(value >= figure.dynamic_limits.low && value <= figure.dynamic_limits.high) ||
        !(value >= figure.static_limits.low && value <= figure.static_limits.high))
      beyond_limits(attempt, figure, value);
    const auto index = static_cast<std::size_t>(&figure - study_.figures.data());
    if (place_[index] >= 0) row_[static_cast<std::size_t>(place_[index])] = value, ++filled_;
  }
  /// Adds what the other tests found and looks the packs up.
  void finish(const record::Ledger& ledger);

 private:
  void end_pack();
  void beyond_limits(std::int64_t attempt, const LotFigure& figure, double value);
  void note(std::int64_t attempt, std::string reason);
  bool choose(const LotSample& sample, bool driven_too);
  void leave_suspects_out(const std::vector<double>& rows, const metrology::Mcd& mcd);

  LotStudy& study_;
  metrology::Classical others_;  ///< of all packs but the suspects
  std::optional<metrology::SquaredDistance> distance_;
  std::vector<int> place_;  ///< of a figure in the row of the distance, or -1
  std::vector<std::size_t> chosen_;
  std::vector<double> row_;
  std::size_t filled_ = 0;
  std::int64_t now_ = 0;
  std::map<std::int64_t, std::vector<std::string>> reasons_;
};

}  // namespace pinproof::lot
