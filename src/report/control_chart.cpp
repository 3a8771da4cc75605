#include "report/control_chart.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "quantity/lines.h"
#include "quantity/phrase.h"
#include "quantity/text.h"
#include "report/drawing.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;
using metrology::ChartPoint;

constexpr std::size_t kListed = 20;  // alarms in the text, the newest ones
constexpr std::size_t kNumbers = 8;  // significant digits of a reading

struct Rule {
  bool ChartPoint::*fired;
  const char* name;  // in JSON
  const char* words;
};

constexpr std::array<Rule, 5> kRules{
    {{&ChartPoint::outside_certificate, "outside-certificate",
      "farther from the certificate than its U and the meter's accuracy together"},
     {&ChartPoint::beyond_three, "beyond-3-sigma", "beyond 3 sigma"},
     {&ChartPoint::two_of_three, "two-of-three", "two of three beyond 2 sigma on one side"},
     {&ChartPoint::four_of_five, "four-of-five", "four of five beyond 1 sigma on one side"},
     {&ChartPoint::eight_on_side, "eight-on-one-side", "eight in a row on one side"}}};

std::string ohm(double value) { return format_si(value, Unit::ohm, int(kNumbers)); }

std::string small(double value) { return format_si(value, Unit::ohm, 3); }

std::string rules_of(const ChartPoint& point) {
  std::string out;
  for (const Rule& rule : kRules)
    if (point.*rule.fired) out += (out.empty() ? "" : "; ") + std::string(rule.words);
  return out;
}

std::size_t alarms(const ChartCase& one) {
  return static_cast<std::size_t>(std::count_if(one.points.begin(), one.points.end(),
                                                [](const ChartPoint& p) { return p.any(); }));
}

std::string verdict(const ChartCase& one) {
  const std::string newest =
      "The newest reading, " + ohm(one.readings.back().value) + " at " + one.at.back() + ", ";
  switch (state_of(one)) {
    case ChartState::good:
      return "IN ORDER. " + newest + "breaks no rule, and none before it did.";
    case ChartState::earlier_alarm:
      return "LOOK INTO IT. " + newest + "breaks no rule, but " +
             counted(alarms(one), "earlier reading") +
             " did: find out why before verdicts of those days are trusted.";
    case ChartState::alarm:
      break;
  }
  return "ALARM. " + newest + "breaks a rule: " + rules_of(one.points.back()) +
         ". No verdict on this bench until meter, leads and resistor are looked at.";
}

std::string origin(const ChartCase& one) {
  const auto& b = one.basis;
  std::string out = "Centre " + ohm(b.centre) + ", sigma " + small(b.sigma) +
                    ", limits at 3 sigma " + ohm(b.lower()) + " to " + ohm(b.upper()) + ", ";
  out += b.baseline > 0
             ? "from the first " + std::to_string(b.baseline) + " readings (mean moving range " +
                   small(b.mean_range) + " over 1.128)."
             : "from the certificate, since there are fewer than " +
                   std::to_string(metrology::kLeastBaseline) + " readings.";
  if (b.floored)
    out += " They show less scatter than the meter can resolve: its resolution stands for sigma.";
  const auto early = std::min(b.baseline, one.points.size());
  if (std::any_of(one.points.begin(), one.points.begin() + static_cast<std::ptrdiff_t>(early),
                  [](const ChartPoint& p) { return p.any(); }))
    out += " Alarms fall into these first readings: the limits themselves are in doubt.";
  return out;
}

std::string hard_limit(const ChartCase& one) {
  if (!one.certificate)
    return "No certificate was given: the chart sees a change, not an error from the first day on.";
  return "Certificate " + ohm(one.certificate->value) + " with U = " + small(one.certificate->U) +
         " (k = 2); a reading may lie off by that and the meter's own accuracy, newest " +
         small(one.readings.back().accuracy) + ".";
}

void add_alarms(const ChartCase& one, std::string& out) {
  const std::size_t all = alarms(one);
  if (all == 0) return;
  out += "\nAlarms";
  out +=
      all > kListed ? ", the newest " + std::to_string(kListed) + " of " + std::to_string(all) : "";
  out += "\n";
  std::size_t seen = 0;
  for (std::size_t k = 0; k < one.points.size(); ++k) {
    if (!one.points[k].any() || ++seen + kListed <= all) continue;
    wrap(out, "  " + one.at[k] + "  ", ohm(one.readings[k].value) + ": " + rules_of(one.points[k]));
  }
}

const char* word_of(ChartState state) {
  return state == ChartState::good    ? "good"
         : state == ChartState::alarm ? "alarm"
                                      : "earlier-alarm";
}

Json reading_json(const ChartCase& one, std::size_t k) {
  Json rules = Json::array();
  for (const Rule& rule : kRules)
    if (one.points[k].*rule.fired) rules.push_back(rule.name);
  return {{"at_utc", one.at[k]},
          {"value_ohm", one.readings[k].value},
          {"accuracy_ohm", one.readings[k].accuracy},
          {"z", one.points[k].z},
          {"rules", rules}};
}

}  // namespace

ChartState state_of(const ChartCase& one) {
  if (one.points.back().any()) return ChartState::alarm;
  return alarms(one) > 0 ? ChartState::earlier_alarm : ChartState::good;
}

std::string chart_text(const ChartCase& one) {
  std::string out;
  wrap(out, "", verdict(one));
  wrap(out, "",
       "Bench \"" + std::string(head(one.bench, 40)) + "\", " + std::string(head(one.check, 60)) +
           ": " + counted(one.readings.size(), "reading") + " from " + one.at.front() + " on" +
           (one.without_value > 0 ? ", " + counted(one.without_value, "check") + " without one"
                                  : "") +
           ".");
  wrap(out, "", origin(one));
  wrap(out, "", hard_limit(one));
  add_alarms(one, out);
  out += "\n";
  // Average run length of these four rules: 91.75 (Champ and Woodall, Technometrics 29, 1987).
  wrap(out, "",
       "Rules: Western Electric, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2. By chance "
       "alone about one reading in ninety breaks one of them.");
  return out;
}

std::string chart_json(const ChartCase& one) {
  const auto& b = one.basis;
  Json readings = Json::array();
  for (std::size_t k = 0; k < one.readings.size(); ++k) readings.push_back(reading_json(one, k));
  Json certificate;
  if (one.certificate)
    certificate = {{"value_ohm", one.certificate->value}, {"U_ohm", one.certificate->U}};
  return Json{{"schema", "pinproof/control-chart/1"},
              {"bench", one.bench},
              {"check", one.check},
              {"state", word_of(state_of(one))},
              {"centre_ohm", b.centre},
              {"sigma_ohm", b.sigma},
              {"sigma_floored", b.floored},
              {"lower_ohm", b.lower()},
              {"upper_ohm", b.upper()},
              {"baseline_readings", b.baseline},
              {"mean_moving_range_ohm", b.baseline > 0 ? Json(b.mean_range) : Json()},
              {"certificate", certificate},
              {"checks_without_value", one.without_value},
              {"readings", readings}}
             .dump(2, ' ', false, Json::error_handler_t::replace) +
         "\n";
}

namespace {

constexpr double kWide = 720, kHigh = 320, kLeft = 50, kRight = kWide - 68;

// In sigma, so that readings of any size draw alike; far ones at the rim.
double shown(double z) { return std::clamp(std::isfinite(z) ? z : 0.0, -12.0, 12.0); }

Markup limits(const ChartCase& one, const Axis& ax, const Axis& ay) {
  Markup out;
  for (const double z : {-3.0, 0.0, 3.0}) {
    out += line(kLeft, ay(z), kRight, ay(z), z == 0 ? "lim" : "mark");
    out += label(kRight + 4, ay(z) + 4,
                 z == 0  ? "centre"
                 : z < 0 ? "-3 sigma"
                         : "+3 sigma",
                 "start");
  }
  if (!one.certificate) return out;
  std::vector<double> x, low, high;
  for (std::size_t k = 0; k < one.readings.size(); ++k) {
    const double middle = (one.certificate->value - one.basis.centre) / one.basis.sigma;
    const double reach = (one.certificate->U + one.readings[k].accuracy) / one.basis.sigma;
    x.push_back(double(k + 1));
    low.push_back(middle - reach < ay.from ? NAN : middle - reach);
    high.push_back(middle + reach > ay.to ? NAN : middle + reach);
  }
  return out + path(x, low, ax, ay, "m") + path(x, high, ax, ay, "m");
}

Markup run_chart(const ChartCase& one) {
  double most = 4;
  std::vector<double> x, z;
  for (std::size_t k = 0; k < one.points.size(); ++k) {
    x.push_back(double(k + 1));
    z.push_back(shown(one.points[k].z));
    most = std::max(most, std::abs(z.back()) + 0.5);
  }
  const Axis ax{0, std::max(10.0, double(x.size())), kLeft, kRight},
      ay{-most, most, kHigh - 40, 16};
  Markup out = open_svg(kWide, kHigh, "Run of the reference readings");
  out += grid(ax, ay, "sigma", "reading") + limits(one, ax, ay) + path(x, z, ax, ay, "i");
  for (std::size_t k = 0; k < x.size(); ++k)
    if (one.points[k].any()) out += ring(ax(x[k]), ay(z[k]));
  return out + "</svg>";
}

}  // namespace

std::string chart_html(const ChartCase& one) {
  return document(
      "Reference resistor", {},
      "<main><h1>Reference resistor</h1><p>" + plain(verdict(one)) + "</p><figure>" +
          run_chart(one) +
          "<figcaption>Readings in the order of time, as distances from the centre. Rings: a rule "
          "is broken. Dashed: as far as certificate and meter allow, where it is near enough to be "
          "drawn.</figcaption></figure><h2>Figures</h2><pre>" +
          escape_lines(chart_text(one)) + "</pre></main>");
}

}  // namespace pinproof::report
