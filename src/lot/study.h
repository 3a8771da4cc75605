// A lot as a whole: how many passed, which packs stand out though they are within limits, whether
// it drifts, and whether it is like the lots before.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "metrology/lot_series.h"
#include "metrology/robust_distance.h"
#include "record/ledger.h"

namespace pinproof::lot {

struct LotAsked {
  std::string lot;
  double confidence = 0.95;      ///< of intervals and bounds
  double alpha = 0.01;           ///< of each test for outliers over the whole lot
  std::size_t earlier_lots = 6;  ///< at most so many make the static limits
  std::size_t sample = 2000;     ///< packs at most that quartiles and covariance come from
};

/// Reject before hold before accept; an empty one counts for nothing.
std::string_view worse(std::string_view one, std::string_view other);
/// The worse of what was measured and what a person decided since: a decision can take an accept
/// back, and never makes one.
std::string_view verdict_in_force(const record::Attempt& attempt);

/// What the attempts of one pack come to, in their order, in whatever lots they were made. The
/// newest counts, unless it drove no coil and is better than the newest that did: what only a
/// driven coil shows is still there. One that broke off proves nothing, so it only ever makes it
/// worse.
class Standing {
 public:
  struct One {
    std::int64_t number = 0;
    std::string verdict, level;
  };
  /// One that came to its end.
  void add(One one);
  /// One that broke off; `decided`: by a person, or empty. True where it counts by its own verdict:
  /// a reject, or a hold that a person put on it. Any other is a doubt: no accept before it stands.
  bool add_broken_off(const One& one, std::string_view decided);
  /// By how it ended; one that is still open counts for nothing.
  void add(const record::Attempt& attempt);
  bool any() const { return newest_.has_value(); }
  const One& newest() const { return *newest_; }
  /// An accept that is in doubt is a hold here.
  One in_force() const;
  /// The newest leaves a worse verdict of level full in force.
  bool lifts_nothing() const;

 private:
  std::optional<One> newest_, full_;
  bool doubted_ = false;  // one broke off since the newest
};

/// Packs by kind and serial; a pack without a serial counts as a pack of its own each time. What is
/// in force comes from the pack's attempts in all lots; all else is of this lot's own attempts.
struct LotCounts {
  std::size_t packs = 0, attempts = 0;  ///< with a verdict
  std::size_t no_verdict = 0;           ///< attempts: stopped, bench faults, unfinished; no reject
  std::size_t unjudged = 0;             ///< packs, beside `packs`: no attempt came to a verdict
  std::size_t retested = 0, no_serial = 0;
  std::size_t first_accepts = 0;                    ///< packs accepted at their first attempt
  std::size_t accepts = 0, rejects = 0, holds = 0;  ///< by what is in force
  std::size_t static_accepts = 0;                   ///< of `accepts`: no coil was driven
  std::size_t overridden = 0;
  Interval first_pass, final_yield;  ///< Clopper-Pearson
};

/// One figure, a value a pack: of that one of the lot's own complete attempts that counts.
struct LotFigure {
  std::int64_t kind = 0;
  record::Figure name;  ///< check, subject, title, unit, limit
  metrology::LotSeries series;
  metrology::Robust robust;
  double floor = 0;                        ///< least sigma: resolution and repeatability
  Interval dynamic_limits, static_limits;  ///< part average; infinite where there are none
  std::optional<metrology::Capability> capability;
  metrology::Drift drift;
  metrology::EsdOfSeries esd;
  std::optional<metrology::MeanShift> shift;  ///< against the lot before
  double previous_sd = 0;
  std::vector<double> sample;  ///< values for a histogram, in their order
};

/// A pack that is to be looked at.
struct LotOutlier {
  std::int64_t number = 0;
  record::Attempt attempt;
  std::vector<std::string> reasons;
  bool hold = false;  ///< its accept is in force
};

/// A pack of which an attempt without driven coils came out better than the one with them.
struct LotUnlifted {
  record::Attempt in_force, newest;
};

struct LotStudy {
  std::string lot, profile_name;
  std::vector<std::string> profile_hashes;  ///< more than one: limits changed inside the lot
  LotAsked asked;
  LotCounts counts;
  std::vector<LotFigure> figures;
  std::vector<LotOutlier> outliers;
  std::size_t outliers_left_out = 0;  ///< beyond what is listed
  std::vector<LotUnlifted> unlifted;
  std::size_t unlifted_left_out = 0;       ///< beyond what is listed
  std::string previous_lot;                ///< empty: none
  std::vector<std::string> static_lots;    ///< that the static limits come from; empty: none
  std::vector<std::string> distance_over;  ///< titles of the figures of the distance
  std::string no_distance;                 ///< why there is none
  double distance_cutoff = 0;              ///< squared
  std::size_t sampled = 0;                 ///< packs
};

/// A lot may hold packs of several kinds: they are counted apart, and their figures are told apart
/// by name and limits; `profile_name` is the first one's. Throws Error(usage) where the ledger has
/// no such lot.
LotStudy study_lot(const record::Ledger& ledger, const LotAsked& asked);

}  // namespace pinproof::lot
