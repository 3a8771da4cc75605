#include "report/compare_html.h"

#include <map>

#include "quantity/text.h"
#include "report/page.h"
#include "report/pages.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using Bars = std::map<std::string, std::string>;  // drawings by title

Bars bars_of(const inspection::Judgement* judgement) {
  Bars out;
  if (judgement)
    for (const auto& r : judgement->results)
      if (std::string bar = limit_bar(r); !bar.empty()) out.emplace(r.title, std::move(bar));
  return out;
}

std::string cell(const std::optional<Estimate>& value, Unit unit, const std::string& outcome,
                 const Bars& bars, const std::string& title) {
  const std::string text = value             ? plain(format_estimate(*value, unit))
                           : outcome.empty() ? "not there"
                                             : "";
  const auto bar = bars.find(title);
  return "<td>" + text + (outcome.empty() ? "" : " " + state(outcome)) +
         (bar == bars.end() ? "" : bar->second) + "</td>";
}

std::string row(const Compared& c, const Bars& first, const Bars& second) {
  return std::string("<tr") + (c.changed ? " class=\"changed\"" : "") + "><th scope=\"row\">" +
         plain(c.title) + "</th><td>" + (c.changed ? "<strong>≠ changed</strong>" : "= the same") +
         "</td>" + cell(c.first, c.unit, c.first_outcome, first, c.title) +
         cell(c.second, c.unit, c.second_outcome, second, c.title) + "</tr>";
}

std::string table(const Comparison& c, bool changed, const Bars& first, const Bars& second) {
  std::string rows;
  for (const Compared& one : c.figures)
    if (one.changed == changed) rows += row(one, first, second);
  if (rows.empty()) return changed ? "<p>Nothing changed.</p>" : "<p>Nothing stayed the same.</p>";
  return open_scroll(changed ? "What changed" : "What stayed the same") +
         "<table class=\"both\"><thead><tr><th scope=\"col\">Figure</th><th "
         "scope=\"col\">Change</th><th scope=\"col\">First</th><th "
         "scope=\"col\">Second</th></tr></thead><tbody>" +
         rows + "</tbody></table></div>";
}

std::string who(const char* name, const record::Attempt& a) {
  const auto line = [](const char* what, const std::string& text) {
    return text.empty() ? std::string()
                        : "<div><dt>" + std::string(what) + "</dt><dd>" + text + "</dd></div>";
  };
  return "<section><h2>" + std::string(name) + "</h2><dl class=\"who\">" +
         line("Serial", report_link(a, a.serial.empty() ? "no serial" : shown(a.serial, 60))) +
         line("Began", plain(a.started_at)) + line("Lot", a.lot.empty() ? "" : shown(a.lot, 60)) +
         line("Verdict", (a.verdict.empty() ? "none" : state(a.verdict)) + " " + plain(a.level)) +
         line("Bench", shown(a.bench, 60)) + line("Record", plain(a.id)) + "</dl></section>";
}

std::string warnings(const Comparison& c) {
  std::string out;
  if (c.first.profile_hash != c.second.profile_hash)
    out += "<li>Judged by two profiles: limits may differ.</li>";
  if (c.first.bench != c.second.bench)
    out += "<li>Read on two benches: what differs may be theirs.</li>";
  if (c.first.serial != c.second.serial) out += "<li>Two different packs.</li>";
  return out.empty() ? "" : "<ul class=\"caution plainlist\">" + out + "</ul>";
}

std::string findings(const Comparison& c) {
  std::string out;
  for (const std::string& f : c.gone) out += "<li>✔ gone: " + plain(f) + "</li>";
  for (const std::string& f : c.come) out += "<li>✖ new: " + plain(f) + "</li>";
  return out.empty() ? "<p>The same in both.</p>" : "<ul class=\"plainlist\">" + out + "</ul>";
}

constexpr std::string_view kStyle =
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
      std::string(kStyle),
      navigation("") + "<main><h1>Two records side by side</h1><div class=\"duo\">" +
          who("First", c.first) + who("Second", c.second) + "</div>" + warnings(c) +
          "<section><h2>Findings</h2>" + findings(c) + "</section><section><h2>What changed</h2>" +
          table(c, true, first, second) +
          "</section><section><h2>The same within both uncertainties (k = 2)</h2>" +
          table(c, false, first, second) + "</section></main>");
}

}  // namespace pinproof::report
