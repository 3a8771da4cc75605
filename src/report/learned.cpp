#include "report/learned.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"
#include "report/drawing.h"
#include "report/number_json.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;
using metrology::LimitMethod;

constexpr double kShort = 0.05;  // confidence for lots to come that far below the asked one is told

std::string share_text(double share) { return significant(100 * share, 6) + " %"; }

// Never more than it is.
std::string floored(double share) {
  const double steps = share > 0.99 ? 1e4 : 100;  // 99.99 % is not 99 %
  return share_text(std::floor(steps * share + 1e-9) / steps);
}

std::string range(const Interval& limits, Unit unit) {
  return format_si(limits.low, unit, 6) + " to " + format_si(limits.high, unit, 6);
}

std::string name_of(LimitMethod method) {
  return method == LimitMethod::normal          ? "normal"
         : method == LimitMethod::nonparametric ? "nonparametric"
                                                : "robust";
}

std::string recipe(const LearnedFigure& f, const metrology::Learning& how) {
  if (how.method == LimitMethod::nonparametric) return "least to greatest";
  const bool robust = how.method == LimitMethod::robust;
  return (robust ? "median +- " : "mean +- ") + significant(f.learned.k, 4) +
         (robust ? " robust" : "") + " standard deviations";
}

std::string if_between(const LearnedFigure& f) {
  std::string shares, confidences;
  for (const auto& [share, confidence] : f.if_between) {
    shares += (shares.empty() ? "" : " / ") + floored(share);
    confidences += (confidences.empty() ? "" : " / ") + floored(confidence);
  }
  return "if " + shares + " of the variance were between lots, " + confidences;
}

std::string for_lots_to_come(const LearnedFigure& f) {
  const double known = f.learned.future_confidence;
  if (std::isfinite(known))
    return floored(known) +
           (f.learned.few_lots ? ", hardly known from " + counted(f.learned.lots, "lot") : "");
  if (!f.if_between.empty()) return "unknown: one lot; " + if_between(f);
  return f.learned.lots == 1 ? "unknown: one lot" : "unknown: no lot has two packs";
}

std::vector<std::string> warnings(const LearnedFigure& f, const metrology::Learning& how) {
  const auto& l = f.learned;
  std::vector<std::string> out;
  if (l.provisional) out.push_back("PROVISIONAL: " + counted(l.n, "pack") + ", fewer than 10.");
  if (l.few_lots)
    out.push_back("FEW LOTS: " + counted(l.lots, "lot") +
                  ", fewer than 5: what lots differ by is hardly known.");
  if (l.future_confidence < how.confidence - kShort)
    out.push_back("LOTS DIFFER: true for lots to come only with " + floored(l.future_confidence) +
                  " confidence, not " + share_text(how.confidence) + ".");
  if (l.not_normal && how.method == LimitMethod::normal)
    out.push_back("NOT NORMAL (p " + significant(l.normality.p, 2) +
                  "): mean +- k s does not hold for such values; look at the plot, or take "
                  "--method robust or nonparametric.");
  if (l.floored)
    out.push_back("The values scatter less than the bench resolves: its own scatter stands in.");
  if (f.guard_share > 0.5)
    out.push_back("The guard bands of this bench take " + fixed(100 * f.guard_share, 0) +
                  " % of the width: good packs will often be undecided.");
  return out;
}

const char* word_of(const LearnedFigure& f) {
  switch (f.fate) {
    case Fate::learned:
      return f.present ? "learned" : "learned, new";
    case Fate::refused:
      return "refused";
    case Fate::wider:
      return "wider";
    case Fate::gaps:
      return "gaps";
    case Fate::unusable:
      break;
  }
  return "unusable";
}

std::string statistics(const LearnedFigure& f) {
  const auto& l = f.learned;
  std::string out = counted(l.n, "pack") + " in " + counted(l.lots, "lot");
  if (f.without_value > 0) out += " (" + counted(f.without_value, "pack") + " without a number)";
  out += ", mean " + format_si(l.mean, f.unit, 6) + ", sd " + format_si(l.sd, f.unit, 4);
  if (std::isfinite(l.k)) out += ", k " + significant(l.k, 5);
  if (std::isfinite(l.lot_share.rho))
    out += "; " + fixed(100 * l.lot_share.rho, 0) + " % of the variance between lots";
  if (!std::isfinite(l.normality.p)) return out;
  return out + "; normality p " + significant(l.normality.p, 2);
}

void add_figure(const LearnedCase& one, const LearnedFigure& f, std::string& out) {
  out += "\n";
  wrap(out, "", f.title + "  [" + word_of(f) + "]");
  wrap(out, "  present  ", f.present ? range(*f.present, f.unit) : "none");
  if (f.limits) wrap(out, "  learned  ", range(*f.limits, f.unit) + ", " + recipe(f, one.how));
  if (f.wires_max_ohm > 0 && f.limits)
    wrap(out, "           ",
         "(high end less " + format_si(f.wires_max_ohm, Unit::ohm, 3) +
             ", which the check allows for wires on top)");
  if (f.learned.n >= 2) wrap(out, "  from     ", statistics(f));
  if (f.learned.limits)
    wrap(out, "  sure     ",
         floored(f.learned.confidence) + " confidence of " + share_text(one.how.coverage) +
             " coverage where lots are alike; for lots to come: " + for_lots_to_come(f));
  if (f.fate != Fate::learned) wrap(out, "  ! ", f.why);
  if (!f.learned.limits) return;
  for (const std::string& warning : warnings(f, one.how)) wrap(out, "  ! ", warning);
}

std::string headline(const LearnedCase& one) {
  const std::string from = counted(one.packs, "known-good pack") + " in " +
                           counted(one.lots.size(), "lot") + " of \"" +
                           std::string(head(one.profile, 60)) + "\"";
  if (!one.one_lot_refused())
    return (one.learned() > 0 ? "LEARNED " : "NOTHING LEARNED: ") +
           counted(one.learned(), "limit") + " from " + from + ".";
  std::string out = "REFUSED: " + from +
                    ". One lot tells nothing of what lots differ by: take packs of 5 lots or "
                    "more. --allow-few-lots learns all the same.";
  for (const LearnedFigure& f : one.figures)
    if (!f.if_between.empty())
      return out + " The confidence would be " + share_text(one.how.confidence) + " by name, but " +
             if_between(f) + ".";
  return out;
}

// Once in capitals where nobody can miss it; each figure says it again.
std::string alarm(const LearnedCase& one) {
  const auto figures = [&one](const auto& holds) {
    return static_cast<std::size_t>(std::count_if(
        one.figures.begin(), one.figures.end(),
        [&](const LearnedFigure& f) { return f.learned.limits && holds(f.learned); }));
  };
  std::string out;
  const auto tell = [&out](std::size_t n, const char* what) {
    if (n > 0) out += (out.empty() ? "WARNING: " : "; ") + counted(n, "limit") + " " + what;
  };
  tell(figures([](const auto& l) { return l.few_lots; }), "FROM FEWER THAN 5 LOTS");
  tell(figures([](const auto& l) { return l.provisional; }),
       "PROVISIONAL, from fewer than 10 packs");
  tell(figures([&](const auto& l) { return l.future_confidence < one.how.confidence - kShort; }),
       "LESS SURE FOR LOTS TO COME than asked");
  tell(
      figures([&](const auto& l) { return l.not_normal && one.how.method == LimitMethod::normal; }),
      "from values that are NOT NORMAL");
  return out.empty() ? "" : out + ".";
}

std::string lots_of(const LearnedCase& one) {
  constexpr std::size_t kNamed = 12;
  if (one.lots.empty()) return "No good pack is left.";
  std::string out;
  for (std::size_t k = 0; k < std::min(kNamed, one.lots.size()); ++k)
    out += (k == 0 ? "Lots: " : ", ") + (one.lots[k].empty() ? "(no lot)" : one.lots[k]);
  return out + (one.lots.size() > kNamed ? ", ..." : "") + ".";
}

std::string left_out(const LearnedCase& one) {
  std::string out;
  for (const auto& [why, packs] : one.left_out)
    out += (out.empty() ? "Left out: " : "; ") + counted(packs, "pack") + ": " + why;
  return out + ".";
}

std::vector<std::string> cautions(const LearnedCase& one) {
  std::vector<std::string> out;
  if (one.rejected > 0)
    out.push_back(
        "Packs that the present limits rejected are left out, so limits learned beside them come "
        "out too narrow, if it was by these limits that good packs were rejected.");
  out.push_back(
      "Learned limits hold for packs as this bench reads them, at its temperature, supply and "
      "method; another bench's errors are not in them. Where the maker states a figure, that goes "
      "first.");
  return out;
}

void add_without(const LearnedCase& one, std::string& out) {
  std::string titles;
  for (const LearnedFigure& f : one.figures)
    if (f.learned.n == 0) titles += (titles.empty() ? "" : "; ") + f.title;
  if (titles.empty() || one.packs == 0) return;
  out += "\n";
  wrap(out, "", "No pack gave a number for: " + titles + ".");
}

void add_end(const LearnedCase& one, std::string& out) {
  out += "\n";
  for (const std::string& caution : cautions(one)) wrap(out, "", caution);
  out += "Profile read, its SHA-256:\n  " + one.old_hash + "\n";
  if (!one.new_hash.empty()) {
    wrap(out, "", "Profile written, its SHA-256 and file:");
    wrap(out, "  ", one.new_hash);
    wrap(out, "  ", one.out);
  } else {
    wrap(out, "",
         one.out.empty() ? "No profile was written: --out FILE writes one."
                         : "Nothing to write: " + one.out + " was not written.");
  }
}

}  // namespace

std::size_t LearnedCase::learned() const {
  return static_cast<std::size_t>(std::count_if(
      figures.begin(), figures.end(), [](const auto& f) { return f.fate == Fate::learned; }));
}

bool LearnedCase::one_lot_refused() const {
  return learned() == 0 && std::any_of(figures.begin(), figures.end(), [](const auto& f) {
           return f.learned.refusal == metrology::LearnRefusal::one_lot;
         });
}

std::string learned_source(const LearnedCase& one, const LearnedFigure& f) {
  const auto& l = f.learned;
  std::string out = "learned from " + counted(l.n, "pack") + " in " + counted(l.lots, "lot") +
                    ", " + recipe(f, one.how);
  if (f.wires_max_ohm > 0) out += " less " + exact(f.wires_max_ohm) + " ohm for wires at the top";
  out += ", " + floored(l.confidence) + " confidence of " + share_text(one.how.coverage) +
         " coverage (true for lots to come: " + for_lots_to_come(f) + ")";
  if (l.provisional) out += ", provisional";
  if (l.few_lots) out += ", few lots";
  if (l.not_normal && one.how.method == LimitMethod::normal) out += ", values not normal";
  return out + ", " + one.date + ", ledger records sha256:" + f.evidence;
}

std::string learned_text(const LearnedCase& one) {
  std::string out;
  wrap(out, "", headline(one));
  if (const std::string loud = alarm(one); !loud.empty()) wrap(out, "", loud);
  wrap(out, "", lots_of(one));
  if (!one.left_out.empty()) wrap(out, "", left_out(one));
  for (const LearnedFigure& f : one.figures)
    if (f.learned.n > 0) add_figure(one, f, out);
  add_without(one, out);
  add_end(one, out);
  return out;
}

namespace {

Json interval(const std::optional<Interval>& i) {
  return i ? Json{{"low", i->low}, {"high", i->high}} : Json();
}

Json statistics_json(const metrology::LearnedLimits& l) {
  return {{"packs", l.n},
          {"lots", l.lots},
          {"mean", number_json(l.mean)},
          {"sd", number_json(l.sd)},
          {"k", number_json(l.k)},
          {"confidence", number_json(l.confidence)},
          {"confidence_for_lots_to_come", number_json(l.future_confidence)},
          {"share_between_lots", number_json(l.lot_share.rho)},
          {"share_between_lots_raw", number_json(l.lot_share.raw)},
          {"normality_p", number_json(l.normality.p)},
          {"provisional", l.provisional},
          {"few_lots", l.few_lots},
          {"not_normal", l.not_normal},
          {"floored", l.floored}};
}

Json figure_json(const LearnedCase& one, const LearnedFigure& f) {
  Json between = Json::array();
  for (const auto& [share, confidence] : f.if_between)
    between.push_back({{"share_between_lots", share}, {"confidence", confidence}});
  Json out{{"pointer", f.pointer},
           {"title", f.title},
           {"unit", file_name(f.unit)},
           {"fate", f.fate == Fate::learned ? "learned" : word_of(f)},
           {"why", f.why},
           {"present", interval(f.present)},
           {"limits", interval(f.limits)},
           {"as_read", interval(f.learned.limits)},
           {"wires_max_ohm", f.wires_max_ohm},
           {"packs_without_number", f.without_value},
           {"guard_share", number_json(f.guard_share)},
           {"if_between_lots", between},
           {"warnings", f.learned.limits ? warnings(f, one.how) : std::vector<std::string>{}},
           {"evidence_sha256", f.evidence}};
  out.update(statistics_json(f.learned));
  return out;
}

Markup figure_html(const LearnedCase& one, const LearnedFigure& f) {
  std::string words = f.limits ? "Learned " + range(*f.limits, f.unit) + "; present " : "Present ";
  words += f.present ? range(*f.present, f.unit) + "." : "none.";
  if (f.learned.limits) words += " For lots to come: " + for_lots_to_come(f) + ".";
  if (f.fate != Fate::learned) words += " " + f.why;
  if (f.learned.limits)
    for (const std::string& warning : warnings(f, one.how)) words += " " + warning;
  if (f.lots.size() > kLearnedRows) words += " Only the first lots are drawn.";
  return "<figure><h3>" + plain(f.title) + "</h3>" + learned_plot(one, f) + "<figcaption>" +
         plain(words) + "</figcaption></figure>";
}

}  // namespace

std::string learned_json(const LearnedCase& one) {
  Json figures = Json::array(), left = Json::array();
  for (const LearnedFigure& f : one.figures) figures.push_back(figure_json(one, f));
  for (const auto& [why, packs] : one.left_out) left.push_back({{"why", why}, {"packs", packs}});
  return Json{{"schema", "pinproof/learned/1"},
              {"profile", one.profile},
              {"profile_sha256", one.old_hash},
              {"written", one.new_hash.empty() ? Json() : Json(one.out)},
              {"written_sha256", one.new_hash.empty() ? Json() : Json(one.new_hash)},
              {"ledger", one.ledger},
              {"date", one.date},
              {"method", name_of(one.how.method)},
              {"coverage", one.how.coverage},
              {"confidence", one.how.confidence},
              {"packs", one.packs},
              {"judged_again", one.judged_again},
              {"lots", one.lots},
              {"left_out", left},
              {"refused_for_one_lot", one.one_lot_refused()},
              {"figures", figures},
              {"cautions", cautions(one)}}
             .dump(2, ' ', false, Json::error_handler_t::replace) +
         "\n";
}

std::string learned_html(const LearnedCase& one) {
  Markup out = "<main><h1>Learned limits</h1><p>" + plain(headline(one)) +
               "</p><div class=\"caution\"><p><b>" + plain(alarm(one)) + "</b></p>";
  for (const std::string& caution : cautions(one)) out += "<p>" + plain(caution) + "</p>";
  out +=
      "</div><h2>Values by lot</h2><p>One dot a pack. Solid lines: learned limits. Dashed: the "
      "present ones.</p>";
  for (const LearnedFigure& f : one.figures)
    if (f.learned.n > 0) out += figure_html(one, f);
  out += "<h2>Figures</h2><pre>" + escape_lines(learned_text(one)) + "</pre></main>";
  return document("Learned limits", {}, out);
}

}  // namespace pinproof::report
