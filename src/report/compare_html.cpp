#include "report/compare_html.h"

#include <map>

#include "quantity/text.h"
#include "report/page.h"
#include "report/pages.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using Bars = std::map<findings::ResultId, Markup>;

Bars bars_of(const inspection::Judgement* judgement) {
  Bars out;
  if (judgement)
    for (const auto& r : judgement->results)
      if (Markup bar = limit_bar(r); !bar.empty()) out.emplace(r.id(), std::move(bar));
  return out;
}

Markup cell(const std::optional<Estimate>& value, Unit unit, const std::string& outcome,
            const Bars& bars, const findings::ResultId& id) {
  const Markup text = value             ? plain(format_estimate(*value, unit))
                      : outcome.empty() ? Markup("not there")
                                        : Markup();
  const auto bar = bars.find(id);
  return "<td>" + text + (outcome.empty() ? Markup() : " " + state(outcome)) +
         (bar == bars.end() ? Markup() : bar->second) + "</td>";
}

Markup row(const Compared& c, const Bars& first, const Bars& second) {
  return "<tr" + (c.changed ? Markup(" class=\"changed\"") : Markup()) + "><th scope=\"row\">" +
         plain(c.title) + "</th><td>" +
         (c.changed ? "<strong>≠ changed</strong>"_html : "= the same"_html) + "</td>" +
         cell(c.first, c.unit, c.first_outcome, first, c.id) +
         cell(c.second, c.unit, c.second_outcome, second, c.id) + "</tr>";
}

Markup table(const Comparison& c, bool changed, const Bars& first, const Bars& second) {
  Markup rows;
  for (const Compared& one : c.figures)
    if (one.changed == changed) rows += row(one, first, second);
  if (rows.empty())
    return changed ? "<p>Nothing changed.</p>"_html : "<p>Nothing stayed the same.</p>"_html;
  return open_scroll(changed ? "What changed" : "What stayed the same") +
         "<table class=\"both\"><thead><tr><th scope=\"col\">Figure</th><th "
         "scope=\"col\">Change</th><th scope=\"col\">First</th><th "
         "scope=\"col\">Second</th></tr></thead><tbody>" +
         rows + "</tbody></table></div>";
}

Markup who(Literal name, const record::Attempt& a) {
  const auto line = [](Literal what, const Markup& text) {
    return text.empty() ? text : "<div><dt>" + Markup(what) + "</dt><dd>" + text + "</dd></div>";
  };
  return "<section><h2>" + Markup(name) + "</h2><dl class=\"who\">" +
         line("Serial",
              report_link(a, a.serial.empty() ? Markup("no serial") : shown(a.serial, 60))) +
         line("Began", plain(a.started_at)) +
         line("Lot", a.lot.empty() ? Markup() : shown(a.lot, 60)) +
         line("Verdict",
              (a.verdict.empty() ? Markup("none") : state(a.verdict)) + " " + plain(a.level)) +
         line("Bench", shown(a.bench, 60)) + line("Record", plain(a.id)) + "</dl></section>";
}

Markup warnings(const Comparison& c) {
  Markup out;
  if (c.first.profile_hash != c.second.profile_hash)
    out += "<li>Judged by two profiles: limits may differ.</li>";
  if (c.first.bench != c.second.bench)
    out += "<li>Read on two benches: what differs may be theirs.</li>";
  if (c.first.serial != c.second.serial) out += "<li>Two different packs.</li>";
  return out.empty() ? out : "<ul class=\"caution plainlist\">" + out + "</ul>";
}

Markup findings(const Comparison& c) {
  Markup out;
  for (const std::string& f : c.gone) out += "<li>✔ gone: " + plain(f) + "</li>";
  for (const std::string& f : c.come) out += "<li>✖ new: " + plain(f) + "</li>";
  return out.empty() ? Markup("<p>The same in both.</p>")
                     : "<ul class=\"plainlist\">" + out + "</ul>";
}

constexpr char kStyle[] =
    ".who div{display:flex;gap:.5rem}.who{margin:.3rem "
    "0}.duo{display:grid;grid-template-columns:repeat(auto-fit,minmax(18rem,1fr));gap:0 "
    "2rem}.both{table-layout:fixed;min-width:40rem}.both th:nth-child(1){width:30%}.both "
    "th:nth-child(2){width:7.5em}";

}  // namespace

std::string compare_html(const Comparison& c, const inspection::Judgement* before,
                         const inspection::Judgement* after) {
  const Bars first = bars_of(before), second = bars_of(after);
  return document(
      "Compare " + c.first.serial.substr(0, 60) + " with " + c.second.serial.substr(0, 60),
      Css(kStyle),
      navigation("") + "<main><h1>Two records side by side</h1><div class=\"duo\">" +
          who("First", c.first) + who("Second", c.second) + "</div>" + warnings(c) +
          "<section><h2>Findings</h2>" + findings(c) + "</section><section><h2>What changed</h2>" +
          table(c, true, first, second) +
          "</section><section><h2>The same within both uncertainties (k = 2)</h2>" +
          table(c, false, first, second) + "</section></main>");
}

}  // namespace pinproof::report
