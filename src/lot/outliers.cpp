// Which packs of a lot stand out, and by what.
#include <algorithm>
#include <cmath>

#include "lot/parts.h"
#include "quantity/error.h"
#include "quantity/phrase.h"
#include "quantity/text.h"

namespace pinproof::lot {
namespace {

constexpr std::size_t kMost = 500;       // packs listed
constexpr std::size_t kRowsAColumn = 5;  // that the covariance needs at least

std::string between(const Interval& limits, Unit unit) {
  if (!std::isfinite(limits.low)) return "at most " + format_si(limits.high, unit, 5);
  if (!std::isfinite(limits.high)) return "at least " + format_si(limits.low, unit, 5);
  return format_si(limits.low, unit, 5) + " to " + format_si(limits.high, unit, 5);
}

bool inside(double value, const Interval& limits) {
  return value >= limits.low && value <= limits.high;
}

}  // namespace

Outliers::Outliers(LotStudy& study, const LotSample& sample) : study_(study) {
  place_.assign(study.figures.size(), -1);
  // All coil figures together, or the resistances alone where packs are few.
  if (!choose(sample, true) && !choose(sample, false)) return;
  std::vector<double> rows;
  std::vector<std::size_t> columns;
  for (const std::size_t f : chosen_)
    columns.push_back(static_cast<std::size_t>(
        std::find(sample.kinds.begin(), sample.kinds.end(), study.figures[f].kind) -
        sample.kinds.begin()));
  for (const auto& row : sample.rows)
    if (std::all_of(columns.begin(), columns.end(), [&](auto c) { return std::isfinite(row[c]); }))
      for (const std::size_t c : columns) rows.push_back(row[c]);
  const auto outcome = metrology::minimum_covariance_determinant(rows, chosen_.size());
  if (!outcome.mcd) {
    study.no_distance = metrology::failure_text(outcome);
    return;
  }
  row_.resize(chosen_.size());
  for (std::size_t k = 0; k < chosen_.size(); ++k) {
    place_[chosen_[k]] = static_cast<int>(k);
    study.distance_over.push_back(study.figures[chosen_[k]].name.title);
  }
  leave_suspects_out(rows, *outcome.mcd);
}

// Robust distances find who hides behind whom, but scatter more than their cutoff allows for: with
// them more than twice as many good lots of 50 had a pack called unusual. So they only say who is
// suspect; the suspects are then held against all others, where Hotelling's cutoff is exact.
void Outliers::leave_suspects_out(const std::vector<double>& rows, const metrology::Mcd& mcd) {
  const std::size_t p = chosen_.size(), n = rows.size() / p;
  // A chance of alpha that any pack of a good lot is called unusual.
  const double sure = 1 - study_.asked.alpha / double(study_.counts.packs);
  const double suspect = metrology::distance_cutoff_new_part(p, n, sure);
  std::vector<std::size_t> suspects;
  for (std::size_t k = 0; k < n; ++k)
    if (mcd.squared_distances[k] > suspect) suspects.push_back(k);
  others_ = metrology::mean_and_covariance(rows, p, suspects);
  distance_.emplace(others_.centre, others_.covariance);
  study_.distance_cutoff = metrology::distance_cutoff_new_part(p, others_.n, sure);
}

bool Outliers::choose(const LotSample& sample, bool driven_too) {
  chosen_.clear();
  for (std::size_t f = 0; f < study_.figures.size(); ++f) {
    const LotFigure& figure = study_.figures[f];
    const bool wanted =
        figure.name.check == "coil-resistance" || (driven_too && figure.name.check == "coil-drive");
    if (wanted && 10 * figure.sample.size() >= 9 * sample.rows.size() && figure.robust.sigma > 0 &&
        !figure.robust.floored)
      chosen_.push_back(f);
  }
  const bool enough = chosen_.size() >= 2 && sample.rows.size() >= kRowsAColumn * chosen_.size();
  if (!enough)
    study_.no_distance = chosen_.size() < 2
                             ? "fewer than two coil figures that vary"
                             : std::to_string(kRowsAColumn) + " packs for each of " +
                                   std::to_string(chosen_.size()) + " coil figures are needed";
  else
    study_.no_distance.clear();
  return enough;
}

void Outliers::note(std::int64_t attempt, std::string reason) {
  if (const auto found = reasons_.find(attempt); found != reasons_.end())
    found->second.push_back(std::move(reason));
  else if (reasons_.size() < kMost)
    reasons_[attempt] = {std::move(reason)};
  else
    ++study_.outliers_left_out;
}

void Outliers::beyond_limits(std::int64_t attempt, const LotFigure& f, double value) {
  if (!std::isfinite(value)) return;  // no number is a fail of its own
  const std::string what =
      f.name.title + ": " + format_si(value, f.name.unit, 5) + " lies outside ";
  if (!inside(value, f.name.limit)) return;  // that is in its verdict already
  if (!inside(value, f.dynamic_limits))
    note(attempt, what + "this lot's own " + between(f.dynamic_limits, f.name.unit));
  else
    note(attempt, what + between(f.static_limits, f.name.unit) + " of the lots before");
}

void Outliers::end_pack() {
  if (distance_ && filled_ == row_.size()) {
    const double d2 = (*distance_)(row_);
    if (d2 > study_.distance_cutoff) {
      const auto shares = metrology::distance_shares(row_, others_.centre, others_.covariance);
      const auto most = static_cast<std::size_t>(
          std::max_element(shares.share.begin(), shares.share.end()) - shares.share.begin());
      const std::string& title = study_.figures[chosen_[most]].name.title;
      note(now_, "its coils together are unlike the others' (squared distance " + fixed(d2, 1) +
                     ", at most " + fixed(study_.distance_cutoff, 1) + "), by " +
                     fixed(100 * shares.share[most], 0) + " % for " + title + ": " +
                     fixed(std::abs(shares.given_others[most]), 1) +
                     " deviations from what its other coils foretell");
    }
  }
  filled_ = 0;
}

void Outliers::finish(const record::Ledger& ledger) {
  end_pack();
  for (const LotFigure& f : study_.figures)
    for (std::size_t k = 0; k < f.esd.outliers; ++k)
      note(f.esd.taken[k].part, f.name.title + ": " +
                                    format_si(f.esd.taken[k].value, f.name.unit, 5) +
                                    " is extreme in this lot (" + fixed(f.esd.R[k], 2) +
                                    " deviations, at most " + fixed(f.esd.lambda[k], 2) + ")");
  for (auto& [number, reasons] : reasons_) {
    LotOutlier out;
    out.number = number;
    out.attempt = ledger.attempt(number);
    out.reasons = std::move(reasons);
    out.hold = verdict_in_force(out.attempt) == "accept";
    study_.outliers.push_back(std::move(out));
  }
}

}  // namespace pinproof::lot
