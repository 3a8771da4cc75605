#include "report/gauge.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "report/drawing.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;

constexpr double kGood = 10, kUnfit = 30;  // percent, AIAG
constexpr double kPoolAbove = 0.25;        // p of the interaction, AIAG
constexpr int kDistinctWanted = 5;         // AIAG, chapter II section D
constexpr double kCoverage = 2;
constexpr int kDigits = 5;

struct Band {
  double w = 0;                         // of the gauge: 2 sigma
  std::optional<double> share;          // of the tolerance, left between both bands
  std::optional<double> greater, both;  // with the one of the uncertainty
};

// What the limits lose to a band on either side.
double share_left(double w, double tolerance) { return std::max(0.0, 1 - 2 * w / tolerance); }

Band band_of(const GaugeCase& one) {
  Band out{kCoverage * one.study.gauge, {}, {}, {}};
  if (one.tolerance) out.share = share_left(out.w, *one.tolerance);
  if (one.U) {
    out.greater = std::max(out.w, *one.U);
    out.both = std::hypot(out.w, *one.U);
  }
  return out;
}

// Before a negative one became nothing; the study keeps the other two.
double var_part_raw(const GaugeCase& one) {
  const auto& s = one.study;
  const double error = s.pooled
                           ? (s.interaction.sum + s.repeats.sum) / (s.interaction.df + s.repeats.df)
                           : s.interaction.mean_square;
  return (s.parts.mean_square - error) / double(one.operators * one.repeats);
}

const char* word_of(GaugeFit fit) {
  return fit == GaugeFit::good ? "good" : fit == GaugeFit::maybe ? "maybe" : "unfit";
}

std::string verdict(const GaugeCase& one) {
  static constexpr std::array<const char*, 3> kWords{
      "GOOD: this bench can judge such parts.",
      "MAYBE: fit for some uses, by what a wrong verdict costs.",
      "NOT FIT: this bench does not tell such parts apart well enough."};
  return std::string(kWords[static_cast<std::size_t>(fit_of(one))]) + " Its own spread is " +
         fixed(one.deciding_percent(), 1) + " %" + " of the " +
         (one.tolerance ? "tolerance" : "total spread; without a tolerance that is all to go by") +
         " (under 10 % good, to 30 % maybe, above not fit: AIAG, Measurement Systems Analysis, 4th "
         "edition).";
}

std::string pooling(const GaugeCase& one) {
  const std::string p = "p = " + significant(one.study.p_interaction, 3) +
                        " of the interaction is " +
                        (one.study.p_interaction > kPoolAbove ? "above" : "not above") + " 0.25";
  const std::string what = one.study.pooled ? "Interaction and repeats are pooled: "
                                            : "Interaction and repeats are kept apart: ";
  return what + (one.pool < 0 ? p : "asked for (" + p + ")") + ".";
}

std::string design(const GaugeCase& one) {
  const auto names = [](const std::vector<std::string>& all) {
    std::string out;
    for (const auto& name : all) out += (out.empty() ? "" : ", ") + std::string(head(name, 24));
    return out;
  };
  return one.quantity + ": " + std::to_string(one.parts) + " parts (" + names(one.part_names) +
         ") x " + std::to_string(one.operators) + " operators (" + names(one.operator_names) +
         ") x " + std::to_string(one.repeats) + " repeats, crossed.";
}

std::string distinct(const GaugeCase& one) {
  const double whole = std::floor(one.study.distinct);
  return "Kinds of part that it tells apart (ndc): " + significant(whole, 9) + " (whole part of " +
         significant(one.study.distinct, 4) + "); 5 or more are wanted" +
         (whole < kDistinctWanted ? ", so its readings sort parts but do not study them." : ".");
}

std::string banding(const GaugeCase& one) {
  const Band band = band_of(one);
  const std::string unit = one.unit.empty() ? "" : " " + one.unit;
  std::string out =
      "Guard band from this study: w = 2 sigma of the gauge = " + significant(band.w, kDigits) +
      unit + " (k = 2) inside each limit";
  out += band.share ? "; that leaves " + percent(*band.share, 1) + " of the tolerance." : ".";
  if (!one.U)
    return out +
           " It holds operators and repeats, not calibration and drift: compare it with the "
           "guard band from the uncertainty of the bench.";
  out += " The uncertainty alone gives " + significant(*one.U, kDigits) + unit +
         ". Repeats are in both: at least " + significant(*band.greater, kDigits) + unit +
         ", the greater one";
  if (one.tolerance)
    out += " (leaves " + percent(share_left(*band.greater, *one.tolerance), 1) + ")";
  out += "; on the safe side " + significant(*band.both, kDigits) + unit + ", both together";
  if (one.tolerance) out += " (leaves " + percent(share_left(*band.both, *one.tolerance), 1) + ")";
  return out + ".";
}

void add_anova(const metrology::GaugeStudy& s, std::string& out) {
  const auto add = [&out](const char* name, const metrology::AnovaRow& row, double F, double p) {
    char text[160];
    std::snprintf(text, sizeof text, "  %-20s %6.0f %13s %13s", name, row.df,
                  significant(row.sum, kDigits).c_str(),
                  significant(row.mean_square, kDigits).c_str());
    out += text;
    std::snprintf(text, sizeof text, " %10s %9s", significant(F, 4).c_str(),
                  significant(p, 3).c_str());
    out += F > 0 || p > 0 ? text : "";
    out += "\n";
  };
  out += "\n  Variance from            df       squares   mean square          F         p\n";
  add("parts", s.parts, s.F_parts, s.p_parts);
  add("operators", s.operators, s.F_operators, s.p_operators);
  add("parts x operators", s.interaction, s.F_interaction, s.p_interaction);
  add("repeats", s.repeats, 0, 0);
  const double sum = s.interaction.sum + s.repeats.sum, df = s.interaction.df + s.repeats.df;
  if (s.pooled) add("the last two pooled", {sum, df, sum / df}, 0, 0);
}

void add_spread(const GaugeCase& one, std::string& out) {
  const auto& s = one.study;
  const auto line = [&](const char* name, const std::string& sigma, const std::string& total,
                        const std::string& variance, const std::string& tolerance) {
    char text[160];
    std::snprintf(text, sizeof text, "  %-18s %12s %11s %13s", name, sigma.c_str(), total.c_str(),
                  variance.c_str());
    out += text;
    if (!one.tolerance) return void(out += "\n");
    std::snprintf(text, sizeof text, " %14s\n", tolerance.c_str());
    out += text;
  };
  const auto add = [&](const char* name, double sigma) {
    const double share = sigma / s.total;
    line(name, significant(sigma, kDigits), percent(share, 1), percent(share * share, 1),
         percent(one.tolerance ? 6 * sigma / *one.tolerance : 0, 1));
  };
  out += "\n";
  line("Spread", "sigma", "of total", "of variance", "of tolerance");
  add("repeatability", s.repeatability);
  add("reproducibility", s.reproducibility);
  add("gauge, both", s.gauge);
  add("parts", s.part);
  add("total", s.total);
}

void add_negative(const GaugeCase& one, std::string& out) {
  const auto add = [&out](const char* name, double raw) {
    if (raw < 0)
      wrap(out, "  ",
           std::string("Variance of ") + name + " came out as " + significant(raw, kDigits) +
               " and counts as 0.");
  };
  add("the operators", one.study.var_operator_raw);
  add("the interaction", one.study.var_interaction_raw);
  add("the parts", var_part_raw(one));
}

}  // namespace

double GaugeCase::deciding_percent() const {
  return tolerance ? metrology::percent_of_tolerance(study, *tolerance) : study.percent_of_total;
}

GaugeFit fit_of(const GaugeCase& one) {
  const double share = one.deciding_percent();
  return share < kGood ? GaugeFit::good : share <= kUnfit ? GaugeFit::maybe : GaugeFit::unfit;
}

std::string gauge_text(const GaugeCase& one) {
  std::string out;
  wrap(out, "", verdict(one));
  wrap(out, "", design(one));
  wrap(out, "", pooling(one));
  add_anova(one.study, out);
  add_spread(one, out);
  add_negative(one, out);
  out += "\n";
  wrap(out, "", distinct(one));
  wrap(out, "", banding(one));
  return out;
}

namespace {

Json anova_json(const metrology::GaugeStudy& s) {
  const auto row = [](const metrology::AnovaRow& r) {
    return Json{{"sum_of_squares", r.sum}, {"df", r.df}, {"mean_square", r.mean_square}};
  };
  Json out{{"parts", row(s.parts)},
           {"operators", row(s.operators)},
           {"interaction", row(s.interaction)},
           {"repeats", row(s.repeats)}};
  const auto test = [&out](const char* name, double F, double p) {
    out[name]["F"] = F;
    out[name]["p"] = p;
  };
  test("parts", s.F_parts, s.p_parts);
  test("operators", s.F_operators, s.p_operators);
  test("interaction", s.F_interaction, s.p_interaction);
  return out;
}

Json variances_json(const GaugeCase& one) {
  const auto& s = one.study;
  return {{"repeatability", s.var_repeat},
          {"operators", s.var_operator},
          {"operators_raw", s.var_operator_raw},
          {"interaction", s.var_interaction},
          {"interaction_raw", s.var_interaction_raw},
          {"parts", s.var_part},
          {"parts_raw", var_part_raw(one)}};
}

Json design_json(const GaugeCase& one) {
  return {{"parts", one.part_names},
          {"operators", one.operator_names},
          {"repeats", one.repeats},
          {"values", one.values}};
}

Json or_null(const std::optional<double>& value) { return value ? Json(*value) : Json(); }

Json sigma_json(const metrology::GaugeStudy& s) {
  return {{"repeatability", s.repeatability},
          {"reproducibility", s.reproducibility},
          {"gauge", s.gauge},
          {"parts", s.part},
          {"total", s.total}};
}

Json band_json(const GaugeCase& one) {
  const Band band = band_of(one);
  return {{"k", kCoverage},
          {"from_gauge", band.w},
          {"share_of_tolerance_left", or_null(band.share)},
          {"from_uncertainty", or_null(one.U)},
          {"greater", or_null(band.greater)},
          {"both_together", or_null(band.both)}};
}

}  // namespace

std::string gauge_json(const GaugeCase& one) {
  const auto& s = one.study;
  Json out{{"schema", "pinproof/gauge/1"},
           {"quantity", one.quantity},
           {"unit", one.unit},
           {"verdict", word_of(fit_of(one))},
           {"deciding_percent", one.deciding_percent()},
           {"design", design_json(one)},
           {"pool_asked", one.pool < 0    ? "auto"
                          : one.pool == 1 ? "always"
                                          : "never"},
           {"pooled", s.pooled},
           {"pool_above_p", kPoolAbove},
           {"anova", anova_json(s)},
           {"variances", variances_json(one)},
           {"sigma", sigma_json(s)},
           {"percent_of_total", s.percent_of_total},
           {"tolerance", or_null(one.tolerance)}};
  out["percent_of_tolerance"] = one.tolerance ? Json(one.deciding_percent()) : Json();
  const bool counted = s.distinct < 1e15;  // not infinite, not undefined
  out["ndc"] = counted ? Json(static_cast<long long>(std::floor(s.distinct))) : Json();
  out["ndc_unrounded"] = s.distinct;
  out["guard_band"] = band_json(one);
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

namespace {

constexpr double kWide = 640, kHigh = 300, kLeft = 72, kTop = 34, kBottom = kHigh - 34;

using Curves = std::vector<std::vector<double>>;  // [operator][part]

// Of each cell: its mean, or its range.
Curves curves(const GaugeCase& one, bool ranges) {
  Curves out(one.operators);
  for (const auto& part : one.values)
    for (std::size_t o = 0; o < part.size(); ++o) {
      const auto& cell = part[o];
      const auto [low, high] = std::minmax_element(cell.begin(), cell.end());
      double mean = 0;
      for (const double x : cell) mean += x / double(cell.size());
      out[o].push_back(ranges ? *high - *low : mean);
    }
  return out;
}

Axis upward(const Curves& all, bool from_zero) {
  double low = from_zero ? 0 : INFINITY, high = -INFINITY;
  for (const auto& curve : all)
    for (const double y : curve) {
      low = std::min(low, y);
      high = std::max(high, y);
    }
  const double room = std::max({0.08 * (high - low), 1e-9 * std::abs(high), 1e-300});
  return {from_zero ? 0 : low - room, high + room, kBottom, kTop};
}

// Ticks as fine as the quantity wants; parts by their names.
Markup grid_of(const GaugeCase& one, const Axis& ax, const Axis& ay) {
  Markup out = label(kLeft, kTop - 8, std::string(head(one.unit, 12)), "end");
  const double step = nice_step(ay.to - ay.from, 5);
  const double most = std::max(std::abs(ay.from), std::abs(ay.to));
  const int digits = std::clamp(static_cast<int>(std::log10(most / step)) + 2, 3, 15);
  for (const double y : ticks(ay, step)) {
    out += line(kLeft, ay(y), kWide - 16, ay(y), "g");
    out += label(kLeft - 5, ay(y) + 4, significant(y, digits), "end");
  }
  const std::size_t every = (one.parts + 19) / 20;
  for (std::size_t p = 0; p < one.parts; p += every)
    out += label(ax(double(p)), kBottom + 15, std::string(head(one.part_names[p], 6)), "middle");
  return out + label(kWide - 16, kBottom + 29, "part", "end");
}

// Operators by number, since colours are not for everyone.
Markup plot(const GaugeCase& one, bool ranges, const char* title) {
  static constexpr std::array<const char*, 4> kKinds{"i", "i2", "v", "m"};
  const Curves all = curves(one, ranges);
  const Axis ax{-0.5, double(one.parts) - 0.5, kLeft, kWide - 16}, ay = upward(all, ranges);
  Markup out = open_svg(kWide, kHigh, title) + grid_of(one, ax, ay);
  std::vector<double> x;
  for (std::size_t p = 0; p < one.parts; ++p) x.push_back(double(p));
  for (std::size_t o = 0; o < all.size(); ++o) {
    out += path(x, all[o], ax, ay, kKinds[o % kKinds.size()]);
    const std::string mark = std::to_string(o + 1);
    for (std::size_t p = 0; p < one.parts && one.parts * all.size() <= 200; ++p)
      out += label(ax(x[p]), ay(all[o][p]) - 3, mark, "middle");
    if (o < 5)
      out += label(kLeft + 12 + 110 * double(o), 14,
                   mark + " " + std::string(head(one.operator_names[o], 13)), "start");
  }
  return out + "</svg>";
}

}  // namespace

std::string gauge_html(const GaugeCase& one) {
  const auto figure = [&one](bool ranges, const char* title, Literal more) {
    return "<figure>" + plot(one, ranges, title) + "<figcaption>" + plain(title) + more +
           "</figcaption></figure>";
  };
  return document(
      "Gauge study", {},
      "<main><h1>Gauge study</h1><p>" + plain(verdict(one)) + "</p>" +
          figure(false, "Mean of each part by operator",
                 ". Lines that lie on each other: operators agree. Lines that cross: they differ "
                 "by the part.") +
          figure(true, "Range of the repeats by operator",
                 ". One line well above the others: that operator repeats less well.") +
          "<h2>Figures</h2><div class=\"scroll\"><pre>" + escape_lines(gauge_text(one)) +
          "</pre></div></main>");
}

}  // namespace pinproof::report
