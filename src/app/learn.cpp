// pinproof learn: limits from packs known to be good, where no book has them.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <map>
#include <set>

#include "app/command.h"
#include "app/ledgers.h"
#include "app/values.h"
#include "lot/repeatability.h"
#include "metrology/lot_statistics.h"
#include "metrology/tolerance.h"
#include "profile/learned_limits.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/statistics.h"
#include "quantity/text.h"
#include "report/learned.h"
#include "session/learn_packs.h"
#include "session/learn_values.h"
#include "terminal/bar.h"

namespace pinproof::app {
namespace {

using metrology::LimitMethod;
using record::Attempt;
using report::Fate;
using report::LearnedCase;
using report::LearnedFigure;

constexpr std::size_t kLargestProfile = std::size_t{4} << 20;
constexpr std::array kIfBetween{0.1, 0.25, 0.5};

struct LearnOptions {
  LedgerOptions ledger;
  std::string profile, method = "normal", out, html;
  session::NamedGood good;
  double coverage = 0.99, confidence = 0.95;
  bool few_lots = false, widen = false;
};

void add_options(CLI::App& app, LearnOptions& options) {
  takes_profile(app.add_option("--profile", options.profile, "Profile whose packs are looked at"))
      ->required();
  options.ledger.add(app);
  app.add_option("--good-lot", options.good.lots,
                 "All packs of this lot are known to be good; may be repeated");
  app.add_option("--good-serial", options.good.serials,
                 "The pack with this serial number; the same");
  app.add_option("--good-record", options.good.records, "The pack of this record; the same");
  const CLI::Range share(0.5, 0.9999);
  app.add_option("--coverage", options.coverage, "Share of all good packs that the limits cover")
      ->check(share)
      ->capture_default_str();
  app.add_option("--confidence", options.confidence, "Confidence that they do")
      ->check(share)
      ->capture_default_str();
  app.add_option("--method", options.method, "How limits come from values")
      ->check(CLI::IsMember({"normal", "nonparametric", "robust"}))
      ->capture_default_str();
  app.add_flag("--allow-few-lots", options.few_lots, "Learn from one lot, and be told the risk");
  app.add_flag("--widen", options.widen, "Write limits that are wider than the present ones too");
  takes_file(
      app.add_option("--out", options.out, "Write a profile with the learned limits to this file"));
  takes_file(app.add_option("--html", options.html, "Write the report to this HTML file"));
}

metrology::Learning asked_of(const LearnOptions& options) {
  metrology::Learning how;
  how.coverage = options.coverage;
  how.confidence = options.confidence;
  how.allow_few_lots = options.few_lots;
  how.method = options.method == "robust"          ? LimitMethod::robust
               : options.method == "nonparametric" ? LimitMethod::nonparametric
                                                   : LimitMethod::normal;
  return how;
}

std::vector<std::pair<double, double>> if_between(const metrology::LearnedLimits& learned,
                                                  const metrology::Learning& how) {
  std::vector<std::pair<double, double>> out;
  const bool normal = how.method == LimitMethod::normal;
  if (learned.lots != 1 || learned.n < 3 || !(normal || learned.limits)) return out;
  const std::array sizes{learned.n};
  for (const double share : kIfBetween) {
    const metrology::LotModel model{how.coverage, share, how.method, how.spread, learned.k};
    out.emplace_back(share, normal ? metrology::confidence_with_lot_share(
                                         1, learned.n, how.coverage, how.confidence, share)
                                   : metrology::simulated_lot_confidence(sizes, model));
  }
  return out;
}

std::string refusal_words(const metrology::LearnedLimits& learned, const metrology::Learning& how) {
  std::string out = "No limits: " + metrology::refusal_text(learned.refusal);
  if (learned.refusal == metrology::LearnRefusal::too_few_for_min_max)
    out += " (" + std::to_string(metrology::wilks_n(how.coverage, how.confidence, 0, true)) +
           " are needed)";
  return out + ".";
}

bool reaches_beyond(const Interval& limits, const Interval& present) {
  return limits.low < present.low || limits.high > present.high;
}

/// Why limits that were learned do not go into the profile, or `learned`.
std::pair<Fate, std::string> fate_of(const LearnedFigure& f, bool widen) {
  if (!(f.limits->low <= f.limits->high))
    return {Fate::unusable, "Not written: the wires that the check allows for take all of it."};
  if (!(f.guard_share < 1))
    return {Fate::unusable,
            "Not written: the guard bands of this bench take all of it, so that no pack could be "
            "proven to be inside."};
  if (!f.present && f.without_value > 0)
    return {Fate::gaps, "Not written: good packs without this number would be held from now on."};
  if (f.present && reaches_beyond(*f.limits, *f.present) && !widen)
    return {Fate::wider, "Wider than the present limit: not written without --widen."};
  return {Fate::learned, ""};
}

/// A profile file as it was read.
struct ProfileFile {
  std::string path, json;
  profile::Profile profile;
};

std::string evidence_of(std::vector<std::string> lines) {
  std::sort(lines.begin(), lines.end());
  std::string all;
  for (const std::string& one : lines) all += one;
  return sha256_hex(all);
}

LearnedFigure learn_one(const session::Gathered& g, metrology::Learning how,
                        const ProfileFile& source, const lot::Repeatabilities& repeat, bool widen) {
  LearnedFigure f;
  f.pointer = g.place.pointer;
  f.title = g.title;
  f.unit = g.unit;
  f.present = g.place.present;
  f.lots = g.lots;
  f.without_value = g.without_value;
  f.wires_max_ohm = g.wires_max_ohm;
  if (!g.evidence.empty()) f.evidence = evidence_of(g.evidence);
  const auto known = repeat.find({g.id.check, g.id.subject});
  std::vector<double> values;
  for (const auto& lot : g.lots) values.insert(values.end(), lot.begin(), lot.end());
  how.resolution = lot::step_of(values);
  how.repeatability = known == repeat.end() ? 0 : known->second;
  f.learned = metrology::learn_limits(g.lots, how);
  f.if_between = if_between(f.learned, how);
  f.why = refusal_words(f.learned, how);
  if (!f.learned.limits) return f;
  const Interval& read = *f.learned.limits;
  f.limits = profile::rounded({read.low, read.high - g.wires_max_ohm});
  const double U = 2 * quantile_of(g.u, 0.5);
  f.guard_share = 2 * source.profile.guard_factor * U / read.width();
  std::tie(f.fate, f.why) = fate_of(f, widen);
  return f;
}

std::string with_learned(const ProfileFile& source, const LearnedCase& one,
                         const std::vector<LearnedFigure>& figures) {
  std::vector<profile::LimitChange> changes;
  for (const LearnedFigure& f : figures)
    if (f.fate == Fate::learned)
      changes.push_back({f.pointer, *f.limits, report::learned_source(one, f)});
  return profile::with_limits(source.json, source.path, changes);
}

// One by one, so that what the loader refuses does not stop the others.
void refuse_unloadable(const ProfileFile& source, LearnedCase& one) {
  for (LearnedFigure& f : one.figures) {
    if (f.fate != Fate::learned) continue;
    try {
      with_learned(source, one, {f});
    } catch (const Error& e) {
      f.fate = Fate::unusable;
      f.why = std::string("Not written: ") + e.what();
    }
  }
}

LearnedCase study(const LearnOptions& options, const record::Ledger& ledger,
                  const ProfileFile& source, const session::Packs& packs) {
  LearnedCase one;
  one.profile = source.profile.name;
  one.old_hash = source.profile.hash;
  one.ledger = ledger.name();
  one.date = record::utc_text().substr(0, 10);
  one.how = asked_of(options);
  one.packs = packs.good.size();
  one.rejected = packs.rejected;
  one.left_out.assign(packs.left_out.begin(), packs.left_out.end());
  std::map<std::string, std::size_t> lots;
  for (const Attempt& attempt : packs.good)
    if (lots.emplace(attempt.lot, one.lots.size()).second) one.lots.push_back(attempt.lot);
  std::vector<session::Gathered> all;
  for (const auto& place : profile::limit_places(source.profile))
    all.push_back(session::gathered(source.profile, place, one.lots.size()));
  session::Values values(ledger, source.profile);
  terminal::Bar bar("Packs read", packs.good.size());  // captures of many packs take a while
  for (std::size_t k = 0; k < packs.good.size(); ++k) {
    bar.at(k);
    values.read(packs.good[k], lots.at(packs.good[k].lot), all);
  }
  one.judged_again = values.judged;
  std::vector<std::string> ids;
  for (const Attempt& attempt : packs.good) ids.push_back(attempt.id);
  const auto repeat = lot::repeatabilities(ledger, ids);
  for (const session::Gathered& g : all)
    one.figures.push_back(learn_one(g, one.how, source, repeat, options.widen));
  refuse_unloadable(source, one);
  return one;
}

void write_profile(const std::string& out, const ProfileFile& source, LearnedCase& one) {
  one.out = out;
  if (one.out.empty() || one.learned() == 0) return;
  const std::string json = with_learned(source, one, one.figures);
  write_file(one.out, json);
  one.new_hash = sha256_hex(json);
}

int run(const LearnOptions& options, const Common& common) {
  if (options.good.none())
    throw Error(Fault::usage,
                "which packs are known to be good? Name them by --good-lot LOT, --good-serial S "
                "or --good-record ID: nothing is learned from packs that nobody vouches for");
  ProfileFile source{find_profile(options.profile), "", {}};
  source.json = read_file(source.path, kLargestProfile);
  source.profile = profile::parse_profile(source.json, source.path);
  const auto ledger = open_to_read(options.ledger);
  session::Packs packs(*ledger, source.profile.name);
  packs.add(options.good);
  LearnedCase one = study(options, *ledger, source, packs);
  write_profile(options.out, source, one);
  if (!options.html.empty()) write_file(options.html, report::learned_html(one));
  std::fputs((common.json ? report::learned_json(one) : report::learned_text(one)).c_str(), stdout);
  return one.learned() > 0 ? 0 : 2;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kLearn{
    .name = "learn",
    .description = "Learn limits from packs known to be good, where no book has them",
    .example =
        "pinproof learn --profile six-speed-20-pin --good-lot 2026-W40 "
        "--good-lot 2026-W44 --out learned.json",
    .prepare = prepare};

}  // namespace pinproof::app
