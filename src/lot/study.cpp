#include "lot/study.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <unordered_map>
#include <unordered_set>
#include <utility>

#include "lot/parts.h"
#include "lot/repeatability.h"
#include "quantity/error.h"
#include "quantity/statistics.h"

namespace pinproof::lot {
namespace {

using Scanned = record::Ledger::Scanned;

constexpr std::size_t kEarlierSample = 500;   // packs of each earlier lot
constexpr std::size_t kFewest = 5;            // values that a lot's statistics need
constexpr std::size_t kFewestStaticLots = 3;  // as part average testing asks of static limits
constexpr std::size_t kMostUnlifted = 50;     // packs listed

using Decisions = std::unordered_map<std::int64_t, std::string>;  // verdicts by attempt

/// What a first pass over the outcomes leaves to look up, since a ledger is not asked anything else
/// while it answers.
struct LookedUp {
  Decisions decisions;
  std::map<std::string, std::string, std::less<>> kinds;       // names of profiles by their hashes
  record::Ledger::Lots lots = record::Ledger::Lots::this_one;  // in which these serials are
};

LookedUp look_up(const record::Ledger& ledger, const std::string& lot) {
  LookedUp out;
  std::vector<std::int64_t> decided;
  std::map<std::string, std::int64_t, std::less<>> of_hash;
  const auto note = [&](const record::Ledger::AttemptOutcome& o) {
    if (o.elsewhere) out.lots = record::Ledger::Lots::all;
    if (o.overridden) decided.push_back(o.number);
    if (!of_hash.contains(o.profile_hash)) of_hash.emplace(o.profile_hash, o.number);
  };
  ledger.each_outcome(lot, note, record::Ledger::Lots::all);
  for (const auto& [hash, number] : of_hash)
    out.kinds.emplace(hash, ledger.attempt(number).profile_name);
  for (const std::int64_t number : decided)
    if (const auto attempt = ledger.attempt(number); attempt.overridden)
      out.decisions.emplace(number, attempt.overridden->verdict);
  return out;
}

/// Counts packs while attempts of one serial come together.
class Counting {
 public:
  Counting(LotStudy& study, const LookedUp& known, std::unordered_set<std::int64_t>& left_out)
      : study_(study), known_(known), left_out_(left_out) {}

  void add(const record::Ledger::AttemptOutcome& o) {
    if (!o.elsewhere) note_own(o);
    if (o.serial.empty() || o.serial != serial_) end_serial();
    serial_ = o.serial;
    CountedPack& pack = pack_of(o.profile_hash);
    pack.here = pack.here || !o.elsewhere;
    const std::string decided = decided_on(o.number);
    const Standing::One one{o.number, std::string(worse(o.verdict, decided)), std::string(o.level)};
    const bool complete = o.ended == "complete";
    bool counts = complete;
    if (complete)
      pack.standing.add(one), pack.judged = pack.judged || pack.here;
    else if (!o.ended.empty())
      counts = pack.standing.add_broken_off(one, decided);
    if (!o.elsewhere) add_own(pack, one, complete, counts);
  }

  std::int64_t finish() {
    end_serial();
    LotCounts& c = study_.counts;
    if (c.packs > 0) {
      c.first_pass = metrology::share_interval(c.first_accepts, c.packs, study_.asked.confidence);
      c.final_yield = metrology::share_interval(c.accepts, c.packs, study_.asked.confidence);
    }
    return first_;
  }

  /// In force and newest, of packs whose newest lifts nothing.
  const std::vector<std::pair<std::int64_t, std::int64_t>>& unlifted() const { return unlifted_; }

 private:
  struct CountedPack {
    std::string_view kind;
    Standing standing;                // of its attempts in all lots
    Standing own;                     // of this lot's complete ones, whose values count
    std::vector<std::int64_t> tries;  // in this lot, with a verdict
    bool here = false;                // an attempt in this lot was seen
    bool judged = false;              // that one or a later one anywhere came to its end
    bool first_accept = false;
  };

  void note_own(const record::Ledger::AttemptOutcome& o) {
    if (first_ == 0 || o.number < first_) first_ = o.number;
    auto& hashes = study_.profile_hashes;
    if (hashes.empty() || hashes.back() != o.profile_hash)
      if (std::find(hashes.begin(), hashes.end(), o.profile_hash) == hashes.end())
        hashes.emplace_back(o.profile_hash);
  }

  std::string decided_on(std::int64_t number) const {
    const auto decided = known_.decisions.find(number);
    return decided == known_.decisions.end() ? "" : decided->second;
  }

  // The same serial on another kind of pack is another pack.
  CountedPack& pack_of(std::string_view profile_hash) {
    const auto found = known_.kinds.find(profile_hash);
    const std::string_view kind =
        found == known_.kinds.end() ? "" : std::string_view(found->second);
    for (CountedPack& pack : packs_)
      if (pack.kind == kind) return pack;
    packs_.emplace_back().kind = kind;
    return packs_.back();
  }

  // Half an inspection has not all figures: its values never count, whatever its verdict does.
  void add_own(CountedPack& pack, const Standing::One& one, bool complete, bool counts) {
    if (complete)
      pack.own.add(one);
    else
      left_out_.insert(one.number);
    study_.counts.no_verdict += !counts;
    if (!counts) return;
    ++study_.counts.attempts;
    study_.counts.no_serial += serial_.empty();
    if (pack.tries.empty()) pack.first_accept = one.verdict == "accept";
    pack.tries.push_back(one.number);
  }

  void end_serial() {
    for (const CountedPack& pack : packs_)
      if (pack.here) end_pack(pack);
    packs_.clear();
  }

  void end_pack(const CountedPack& pack) {
    for (const std::int64_t number : pack.tries)
      if (!pack.own.any() || number != pack.own.in_force().number) left_out_.insert(number);
    LotCounts& c = study_.counts;
    const Standing::One one = pack.standing.any() ? pack.standing.in_force() : Standing::One{};
    const bool accepted = one.verdict == "accept";
    // An accept of another lot from before says nothing of an attempt here that is still open.
    if (!pack.standing.any() || (accepted && !pack.judged)) return void(++c.unjudged);
    ++c.packs;
    c.retested += pack.tries.size() > 1;
    c.first_accepts += pack.first_accept;
    c.accepts += accepted;
    c.static_accepts += accepted && one.level == "static";
    c.rejects += one.verdict == "reject";
    c.holds += one.verdict == "hold";
    c.overridden += known_.decisions.contains(one.number);
    if (pack.standing.lifts_nothing()) note_unlifted(pack.standing);
  }

  void note_unlifted(const Standing& standing) {
    if (unlifted_.size() < kMostUnlifted)
      unlifted_.emplace_back(standing.in_force().number, standing.newest().number);
    else
      ++study_.unlifted_left_out;
  }

  LotStudy& study_;
  const LookedUp& known_;
  std::unordered_set<std::int64_t>& left_out_;
  std::string serial_;
  std::vector<CountedPack> packs_;  // of serial_, one a kind
  std::int64_t first_ = 0;
  std::vector<std::pair<std::int64_t, std::int64_t>> unlifted_;
};

// The bench's own check, the temperature and what is open or closed are no figures of the part.
bool is_looked_at(const record::Figure& f) {
  static const std::set<std::string> kNot{"bench-check", "temperature", "lever-table"};
  return !kNot.contains(f.check);
}

void make_figures(const record::Ledger& ledger, const LotSample& sample, LotStudy& study) {
  std::map<std::int64_t, record::Figure> names;
  for (auto& [kind, figure] : ledger.figure_kinds()) names.emplace(kind, std::move(figure));
  for (std::size_t column = 0; column < sample.kinds.size(); ++column) {
    const record::Figure& name = names.at(sample.kinds[column]);
    if (!is_looked_at(name)) continue;
    LotFigure f;
    f.kind = sample.kinds[column], f.name = name;
    for (const auto& row : sample.rows)
      if (column < row.size() && std::isfinite(row[column])) f.sample.push_back(row[column]);
    if (f.sample.size() >= kFewest) study.figures.push_back(std::move(f));
  }
}

void set_dynamic_limits(const record::Ledger& ledger, const LotSample& sample, LotStudy& study) {
  std::vector<std::string> ids;
  const std::size_t step = std::max<std::size_t>(1, sample.numbers.size() / 50);
  for (std::size_t k = 0; k < sample.numbers.size(); k += step)
    ids.push_back(ledger.attempt(sample.numbers[k]).id);
  const auto repeat = repeatabilities(ledger, ids);
  for (LotFigure& f : study.figures) {
    const auto known = repeat.find({f.name.check, f.name.subject});
    f.floor =
        std::max(step_of(f.sample) / std::sqrt(12.0), known == repeat.end() ? 0 : known->second);
    f.robust = metrology::robust_of(f.sample, f.floor);
    f.static_limits = {-INFINITY, INFINITY};
    f.dynamic_limits = f.robust.sigma > 0 ? metrology::part_average_limits(f.robust, f.name.limit)
                                          : Interval{-INFINITY, INFINITY};
  }
}

using ValuesById = std::map<findings::ResultId, std::vector<double>>;

// By the figures' ids, whatever their limits were: those may have changed since.
ValuesById values_by_id(const record::Ledger& ledger, const std::string& lot) {
  std::map<std::int64_t, findings::ResultId> ids;
  for (const auto& [kind, figure] : ledger.figure_kinds()) ids[kind] = figure.id();
  const LotSample sample = sample_lot(ledger, lot, kEarlierSample, {});
  ValuesById out;
  for (const auto& row : sample.rows)
    for (std::size_t k = 0; k < row.size(); ++k)
      if (std::isfinite(row[k])) out[ids[sample.kinds[k]]].push_back(row[k]);
  return out;
}

void look_back(const record::Ledger& ledger, std::int64_t first, LotStudy& study) {
  std::vector<std::string> lots =
      ledger.lots_before(study.profile_name, first, study.asked.earlier_lots);
  std::erase(lots, study.lot);
  if (lots.empty()) return;
  study.previous_lot = lots.front();
  ValuesById pooled;
  for (const std::string& lot : lots) {
    const auto values = values_by_id(ledger, lot);
    for (const auto& [id, v] : values) pooled[id].insert(pooled[id].end(), v.begin(), v.end());
    if (lot != study.previous_lot) continue;
    for (LotFigure& f : study.figures) {
      const auto found = values.find(f.name.id());
      if (found == values.end() || found->second.size() < kFewest) continue;
      const auto before = moments_of(found->second);
      f.previous_sd = before.sd;
      f.shift = metrology::mean_shift(before, found->second.size(), moments_of(f.sample),
                                      f.sample.size(), study.asked.confidence);
    }
  }
  if (lots.size() < kFewestStaticLots) return;
  study.static_lots = lots;
  for (LotFigure& f : study.figures) {
    const auto found = pooled.find(f.name.id());
    if (found == pooled.end() || found->second.size() < kFewest) continue;
    const auto robust = metrology::robust_of(found->second, f.floor);
    if (robust.sigma > 0) f.static_limits = metrology::part_average_limits(robust, f.name.limit);
  }
}

void conclude(LotStudy& study) {
  for (LotFigure& f : study.figures) {
    if (f.series.n() < kFewest) continue;
    f.capability = metrology::capability_of(f.series.moments(), f.series.n(), f.name.limit,
                                            study.asked.confidence);
    f.drift = f.series.drift();
    const std::size_t most = std::min<std::size_t>(10, f.series.n() / 10 + 1);
    if (most + 2 < f.series.n())
      f.esd = metrology::generalised_esd(f.series, most,
                                         study.asked.alpha / double(study.figures.size()));
  }
}

// The number of the first attempt.
std::int64_t count_packs(const record::Ledger& ledger, LotStudy& study,
                         std::unordered_set<std::int64_t>& left_out) {
  const LookedUp known = look_up(ledger, study.lot);
  Counting counting(study, known, left_out);
  ledger.each_outcome(
      study.lot, [&](const auto& outcome) { counting.add(outcome); }, known.lots);
  const std::int64_t first = counting.finish();
  for (const auto& [in_force, newest] : counting.unlifted())
    study.unlifted.push_back({ledger.attempt(in_force), ledger.attempt(newest)});
  return first;
}

}  // namespace

std::string_view worse(std::string_view one, std::string_view other) {
  for (const std::string_view verdict : {"reject", "hold", "accept"})
    if (one == verdict || other == verdict) return verdict;
  return one;
}

std::string_view verdict_in_force(const record::Attempt& attempt) {
  return attempt.overridden ? worse(attempt.verdict, attempt.overridden->verdict)
                            : std::string_view(attempt.verdict);
}

void Standing::add(One one) {
  doubted_ = false;
  if (one.level == "full") full_ = one;
  newest_ = std::move(one);
}

bool Standing::add_broken_off(const One& one, std::string_view decided) {
  if (one.verdict != "reject" && decided != "hold") {
    doubted_ = true;
    return false;
  }
  const auto worsen = [](std::optional<One>& kept, const One& by) {
    if (!kept || worse(kept->verdict, by.verdict) != kept->verdict) kept = by;
  };
  const bool full = one.level == "full";
  if (full) worsen(full_, one);
  // A hold of level full must not hide a reject of that level from before.
  worsen(newest_, full ? *full_ : one);
  return true;
}

void Standing::add(const record::Attempt& attempt) {
  if (!attempt.closed) return;
  One one{attempt.number, std::string(verdict_in_force(attempt)), attempt.level};
  if (attempt.ended == "complete") return add(std::move(one));
  add_broken_off(one, attempt.overridden ? attempt.overridden->verdict : std::string());
}

Standing::One Standing::in_force() const {
  One out = lifts_nothing() ? *full_ : *newest_;
  if (doubted_ && out.verdict == "accept") out.verdict = "hold";
  return out;
}

bool Standing::lifts_nothing() const {
  return newest_ && full_ && newest_->level != "full" &&
         worse(full_->verdict, newest_->verdict) != newest_->verdict;
}

LotSample sample_lot(const record::Ledger& ledger, const std::string& lot, std::size_t at_most,
                     const std::unordered_set<std::int64_t>& left_out) {
  std::int64_t count = 0;
  ledger.each_outcome(lot, [&](const auto&) { ++count; });
  const std::int64_t every =
      std::max<std::int64_t>(1, (count + static_cast<std::int64_t>(at_most) - 1) /
                                    static_cast<std::int64_t>(std::max<std::size_t>(at_most, 1)));
  LotSample out;
  std::map<std::int64_t, std::size_t> column;
  ledger.scan_figures(lot, every, [&](const Scanned& s) {
    if (left_out.contains(s.attempt)) return;
    if (out.numbers.empty() || out.numbers.back() != s.attempt)
      out.numbers.push_back(s.attempt), out.rows.emplace_back(out.kinds.size(), std::nan(""));
    const auto [at, fresh] = column.emplace(s.kind, out.kinds.size());
    if (fresh) out.kinds.push_back(s.kind);
    auto& row = out.rows.back();
    if (row.size() < out.kinds.size()) row.resize(out.kinds.size(), std::nan(""));
    row[at->second] = s.value;
  });
  for (auto& row : out.rows) row.resize(out.kinds.size(), std::nan(""));
  return out;
}

LotStudy study_lot(const record::Ledger& ledger, const LotAsked& asked) {
  LotStudy study;
  study.lot = asked.lot, study.asked = asked;
  std::unordered_set<std::int64_t> left_out;  // not in force, or without a verdict
  const std::int64_t first = count_packs(ledger, study, left_out);
  if (study.counts.packs == 0)
    throw Error(Fault::usage, ledger.name() + ": no inspected pack of lot \"" + asked.lot + "\"");
  study.profile_name = ledger.attempt(first).profile_name;

  const LotSample sample = sample_lot(ledger, asked.lot, asked.sample, left_out);
  study.sampled = sample.rows.size();
  make_figures(ledger, sample, study);
  set_dynamic_limits(ledger, sample, study);
  look_back(ledger, first, study);
  Outliers outliers(study, sample);
  std::vector<LotFigure*> by_kind;
  for (LotFigure& f : study.figures) {
    const auto kind = static_cast<std::size_t>(f.kind);
    if (by_kind.size() <= kind) by_kind.resize(kind + 1);
    by_kind[kind] = &f;
  }
  const bool all_count = left_out.empty();
  ledger.scan_figures(asked.lot, 1, [&](const Scanned& s) {
    if (!all_count && left_out.contains(s.attempt)) return;
    const auto kind = static_cast<std::size_t>(s.kind);
    LotFigure* f = kind < by_kind.size() ? by_kind[kind] : nullptr;
    if (!f) return;
    f->series.add(s.attempt, s.value);
    outliers.add(s.attempt, *f, s.value);
  });
  conclude(study);
  outliers.finish(ledger);
  return study;
}

}  // namespace pinproof::lot
