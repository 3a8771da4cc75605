#include "report/lot.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"
#include "report/number_json.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;
using lot::LotFigure;
using lot::LotStudy;

constexpr double kClear = 0.01;  // p below which a drift or a step is worth a word

std::string share_text(std::size_t k, std::size_t n, const Interval& interval) {
  return std::to_string(k) + " of " + std::to_string(n) + " = " +
         fixed(100 * double(k) / double(n), 1) + " % (" + fixed(100 * interval.low, 1) + " to " +
         fixed(100 * interval.high, 1) + " %)";
}

std::string capability_text(const LotFigure& f) {
  if (!f.capability) return f.series.n() >= 5 ? "no spread" : "few";
  if (!std::isfinite(f.capability->Ppk)) return "no limit";
  return fixed(f.capability->Ppk, 2) + " (" + fixed(f.capability->Ppk_lower, 2) + ")";
}

std::string drift_text(const LotFigure& f) {
  return f.drift.p < kClear ? format_si(f.drift.over_lot, f.name.unit, 3) : "none";
}

void add_yield(const LotStudy& s, std::string& out) {
  const auto& c = s.counts;
  out += std::to_string(c.packs) + " packs, " + std::to_string(c.attempts) + " inspections";
  if (c.no_verdict > 0)
    out += ", " + std::to_string(c.no_verdict) + " more without a verdict (stopped, bench fault)";
  out += ".\n";
  if (c.unjudged > 0)
    wrap(out, "  Not judged  ", counted(c.unjudged, "pack") + ": no inspection came to a verdict");
  wrap(out, "  First pass  ", share_text(c.first_accepts, c.packs, c.first_pass));
  wrap(out, "  Final       ",
       share_text(c.accepts, c.packs, c.final_yield) + ", rejects " + std::to_string(c.rejects) +
           ", holds " + std::to_string(c.holds));
  wrap(out, "  ", "Intervals: " + percent(s.asked.confidence, 0) + ", Clopper and Pearson.");
  if (c.static_accepts > 0)
    wrap(out, "  ! ",
         std::to_string(c.static_accepts) +
             " accepted at level static: their coils were never driven.");
  if (c.overridden > 0)
    wrap(out, "  ! ",
         std::to_string(c.overridden) +
             " decided otherwise by somebody: the worse of measurement and decision counts.");
  if (c.no_serial > 0)
    wrap(out, "  ! ",
         std::to_string(c.no_serial) +
             " without a serial: retests of these cannot be told from new packs.");
}

std::string pack_name(const record::Attempt& attempt) {
  return attempt.serial.empty() ? "no serial" : shortened(attempt.serial, 40);
}

// What an inspection without driven coils cannot take back.
void add_unlifted(const LotStudy& s, std::string& out) {
  const auto says = [](const record::Attempt& a) {
    return std::string(lot::verdict_in_force(a)) + " of " + a.started_at.substr(0, 10);
  };
  for (const auto& [in_force, newest] : s.unlifted)
    wrap(out, "  ! ",
         pack_name(in_force) + ": the newest static " + says(newest) + " does not lift the full " +
             says(in_force) + ", record " + in_force.id + "; only another one at level full does.");
  if (s.unlifted_left_out > 0)
    wrap(out, "  ! ", std::to_string(s.unlifted_left_out) + " more packs like these.");
}

// Low capability, a drift or an extreme value are worth a word.
bool worth_a_word(const LotFigure& f) {
  const bool weak = f.capability && f.capability->Ppk_lower < 1;
  return f.name.check == "coil-resistance" || weak || f.drift.p < kClear || f.esd.outliers > 0;
}

void add_figures(const LotStudy& s, bool all, std::string& out) {
  if (s.figures.empty()) {
    out += "\nNo figures of the lot: five packs with a number are needed.\n";
    return;
  }
  std::size_t more = 0;
  out += "\n" + padded("Figure", 37) + padded("mean", 11) + padded("s", 10) +
         padded("Ppk (bound)", 13) + "drift\n";
  for (const LotFigure& f : s.figures) {
    if (!all && !worth_a_word(f)) {
      ++more;
      continue;
    }
    const auto m = f.series.moments();
    out += padded(harmless(f.name.title), 36) + " " +
           padded(format_si(m.mean, f.name.unit, 5), 10) + " " +
           padded(format_si(m.sd, f.name.unit, 3), 9) + " " + padded(capability_text(f), 12) + " " +
           drift_text(f) + "\n";
  }
  wrap(out, "  ",
       "Ppk, not Cpk: an incoming lot has no subgroups. In brackets its lower " +
           percent(s.asked.confidence, 0) + " bound, exact where the values are normal.");
  if (more > 0)
    wrap(out, "  ",
         "Figures with nothing to say are left out here (" + std::to_string(more) +
             "); --all shows them.");
}

void add_shifts(const LotStudy& s, std::string& out) {
  if (s.previous_lot.empty()) {
    out += "\nNo earlier lot of this pack in the ledger to compare with.\n";
    return;
  }
  out += "\nAgainst the lot before, " + shortened(s.previous_lot, 50) + ":\n";
  std::size_t same = 0;
  for (const LotFigure& f : s.figures) {
    if (!f.shift) continue;
    if (!(f.shift->p < kClear)) {
      ++same;
      continue;
    }
    wrap(out, "  ≠ ",
         f.name.title + ": mean moved by " + format_si(f.shift->shift, f.name.unit, 3) + " (" +
             format_si(f.shift->interval.low, f.name.unit, 3) + " to " +
             format_si(f.shift->interval.high, f.name.unit, 3) + ")");
  }
  out += "  " + std::to_string(same) + " figures with no clear step (Welch, p 0.01 or more).\n";
}

void add_rules(const LotStudy& s, std::string& out) {
  out += "\nHow packs are found that stand out\n";
  wrap(out, "  - ",
       "Part average limits of this lot: median ± 6 (Q3 - Q1)/1.35, quartiles of type "
       "7, never beyond the profile's limits (AEC-Q001); sigma is at least the "
       "display's step/√12 and the bench's repeatability.");
  wrap(out, "  - ",
       s.static_lots.empty()
           ? "No limits of earlier lots: three at least are needed."
           : "The same of " + std::to_string(s.static_lots.size()) + " earlier lots.");
  wrap(out, "  - ",
       "Generalised extreme studentised deviates (Rosner), " + percent(s.asked.alpha, 0) +
           " over all figures.");
  wrap(out, "  - ",
       s.no_distance.empty() ? "Distance over " + std::to_string(s.distance_over.size()) +
                                   " coil figures together: suspects by MCD, each "
                                   "against all others (Hotelling), " +
                                   percent(s.asked.alpha, 0) + " over all packs."
                             : "No distance over all coils: " + s.no_distance + ".");
  if (s.sampled < s.counts.packs)
    wrap(out, "  - ",
         "Quartiles and covariance come from " + std::to_string(s.sampled) +
             " packs spread evenly over the lot; every pack was looked at.");
}

std::string who(const lot::LotOutlier& o) { return pack_name(o.attempt) + "  " + o.attempt.id; }

Json interval_json(const Interval& i) {
  return {{"low", number_json(i.low)}, {"high", number_json(i.high)}};
}

Json figure_json(const LotFigure& f) {
  const auto m = f.series.moments();
  Json out{{"id", findings::text_of(f.name.id())},
           {"check", f.name.check},
           {"subject", f.name.subject},
           {"title", f.name.title},
           {"unit", std::string(file_name(f.name.unit))},
           {"n", f.series.n()},
           {"missing", f.series.missing()},
           {"mean", m.mean},
           {"sd", m.sd},
           {"median", f.robust.middle},
           {"robust_sigma", f.robust.sigma},
           {"sigma_floor", f.floor},
           {"floored", f.robust.floored},
           {"limits", interval_json(f.name.limit)},
           {"dynamic_limits", interval_json(f.dynamic_limits)},
           {"static_limits", interval_json(f.static_limits)},
           {"drift_over_lot", f.drift.over_lot},
           {"drift_p", f.drift.p},
           {"extreme", f.esd.outliers}};
  if (f.capability) {
    out["Ppk"] = number_json(f.capability->Ppk);
    out["Ppk_lower"] = number_json(f.capability->Ppk_lower);
    out["Pp"] = number_json(f.capability->Pp);
  }
  if (f.shift)
    out["shift"] = {{"mean", f.shift->shift},
                    {"interval", interval_json(f.shift->interval)},
                    {"p", f.shift->p}};
  return out;
}

Json outlier_json(const lot::LotOutlier& o) {
  return {{"id", o.attempt.id},
          {"serial", o.attempt.serial},
          {"verdict", o.attempt.verdict},
          {"lot_verdict", lot_verdict(o)},
          {"by", o.reasons}};
}

Json unlifted_json(const lot::LotUnlifted& u) {
  return {{"serial", u.in_force.serial},
          {"id", u.in_force.id},
          {"verdict", lot::verdict_in_force(u.in_force)},
          {"newest", {{"id", u.newest.id}, {"verdict", lot::verdict_in_force(u.newest)}}}};
}

}  // namespace

std::size_t held(const LotStudy& s) {
  return static_cast<std::size_t>(
      std::count_if(s.outliers.begin(), s.outliers.end(), [](const auto& o) { return o.hold; }));
}

std::string lot_verdict(const lot::LotOutlier& o) {
  return o.hold ? "hold" : std::string(lot::verdict_in_force(o.attempt));
}

std::string lot_verdict(const LotStudy& s) {
  const auto& c = s.counts;
  std::string out = c.rejects == 0 ? "No pack rejected" : std::to_string(c.rejects) + " rejected";
  if (c.holds > 0) out += ", " + std::to_string(c.holds) + " on hold";
  if (c.unjudged > 0) out += ", " + counted(c.unjudged, "was", "were") + " not judged";
  if (s.figures.empty()) return out + "; too few packs to tell whether any stands out.";
  const std::size_t n = held(s);
  out += n == 0 ? "; of the accepted none stands out."
                : "; " + std::to_string(n) + " of the accepted " + (n == 1 ? "stands" : "stand") +
                      " out and should be held.";
  return out;
}

std::string lot_text(const LotStudy& s, bool all) {
  std::string out;
  wrap(out, "", "Lot " + shortened(s.lot) + ", " + s.profile_name);
  wrap(out, held(s) + s.counts.rejects + s.counts.holds + s.counts.unjudged == 0 ? "✔ " : "▲ ",
       lot_verdict(s));
  out += "\n";
  if (s.profile_hashes.size() > 1)
    wrap(out, "  ! ",
         "Judged by " + std::to_string(s.profile_hashes.size()) +
             " versions of the profile: records rejudge makes one of them.");
  add_yield(s, out);
  add_unlifted(s, out);
  if (!s.outliers.empty()) out += "\nPacks that stand out\n";
  for (const auto& o : s.outliers) {
    wrap(out, o.hold ? "  ▲ hold   " : "  - " + lot_verdict(o) + " ", who(o));
    for (const auto& reason : o.reasons) wrap(out, "      ", reason);
  }
  if (s.outliers_left_out > 0)
    out += "  ... and more, " + std::to_string(s.outliers_left_out) + " reasons not listed.\n";
  add_figures(s, all, out);
  add_shifts(s, out);
  add_rules(s, out);
  return out;
}

std::string lot_json(const LotStudy& s) {
  Json figures = Json::array(), outliers = Json::array(), unlifted = Json::array();
  for (const LotFigure& f : s.figures) figures.push_back(figure_json(f));
  for (const auto& o : s.outliers) outliers.push_back(outlier_json(o));
  for (const auto& u : s.unlifted) unlifted.push_back(unlifted_json(u));
  const auto& c = s.counts;
  return Json{{"lot", s.lot},
              {"profile_name", s.profile_name},
              {"packs", c.packs},
              {"attempts", c.attempts},
              {"no_verdict", c.no_verdict},
              {"unjudged", c.unjudged},
              {"retested", c.retested},
              {"first_pass",
               {{"accepted", c.first_accepts}, {"interval", interval_json(c.first_pass)}}},
              {"final",
               {{"accepted", c.accepts},
                {"accepted_static", c.static_accepts},
                {"rejected", c.rejects},
                {"hold", c.holds},
                {"overridden", c.overridden},
                {"interval", interval_json(c.final_yield)}}},
              {"not_lifted", unlifted},
              {"confidence", s.asked.confidence},
              {"previous_lot", s.previous_lot},
              {"static_lots", s.static_lots},
              {"distance",
               {{"over", s.distance_over},
                {"squared_cutoff", s.distance_cutoff},
                {"none_because", s.no_distance}}},
              {"sampled", s.sampled},
              {"outliers", outliers},
              {"figures", figures}}
             .dump(2, ' ', false, Json::error_handler_t::replace) +
         "\n";
}

}  // namespace pinproof::report
