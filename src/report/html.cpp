// One self-contained file: screen, A4 and Letter.
#include <algorithm>
#include <cmath>

#include "inspection/check.h"
#include "quantity/text.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using inspection::Outcome;
using inspection::Result;
using inspection::Verdict;

constexpr std::string_view kStyle = R"css(
:root{--ink:#1b1f24;--soft:#4d5661;--paper:#fff;--panel:#f3f4f1;--rule:#c9cdc6;--good:#1c5c36;--bad:#9b1c1c;--wait:#7a4b00;--blue:#1c4e80;--okfill:#d6e6da}
@media (prefers-color-scheme:dark){:root{--ink:#e9ebe8;--soft:#aeb6bd;--paper:#15181b;--panel:#1f2428;--rule:#444b52;--good:#7fce9b;--bad:#ff9a94;--wait:#f0b95c;--blue:#8fc1f2;--okfill:#23402f}}
*{box-sizing:border-box}
body{margin:0 auto;padding:1.2rem;max-width:60rem;background:var(--paper);color:var(--ink);font:16px/1.5 system-ui,"DejaVu Sans",sans-serif}
h1{font-size:1.05rem;font-weight:600;margin:0;color:var(--soft)}
h2{font-size:1.2rem;margin:2rem 0 .5rem;border-bottom:2px solid var(--rule);padding-bottom:.2rem}
h3{font-size:1rem;margin:1.2rem 0 .3rem}
.verdict{display:flex;flex-wrap:wrap;gap:.3rem 1.2rem;align-items:baseline;border:3px solid;border-radius:.5rem;padding:.5rem 1rem;margin:.8rem 0}
.verdict b{font-size:2rem;letter-spacing:.04em}.verdict p{margin:0}
.accept{border-color:var(--good);border-style:solid}.accept b{color:var(--good)}
.reject{border-color:var(--bad);border-style:double;border-width:6px}.reject b{color:var(--bad)}
.hold{border-color:var(--wait);border-style:dashed}.hold b{color:var(--wait)}
dl.head{display:grid;grid-template-columns:repeat(auto-fit,minmax(14rem,1fr));gap:.2rem 1.5rem;margin:.5rem 0}
dl.head div{display:flex;gap:.5rem}dt{color:var(--soft)}dd{margin:0;overflow-wrap:anywhere}
.cols{display:grid;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:1.5rem;align-items:start}
.find{border-left:5px solid var(--bad);padding:.1rem 0 .1rem .8rem;margin:.8rem 0;break-inside:avoid}
.find p{margin:.15rem 0}.find .s{color:var(--soft);font-size:.9rem}
table{border-collapse:collapse;width:100%;font-size:.88rem;margin:.3rem 0 1rem}
caption{text-align:left;color:var(--soft);font-size:.85rem;padding-bottom:.2rem}
th,td{text-align:left;vertical-align:top;padding:.25rem .5rem;border-bottom:1px solid var(--rule);overflow-wrap:anywhere}
th{font-weight:600}tr{break-inside:avoid}td.bar{width:15rem}
.pass{color:var(--good);white-space:nowrap}.fail{color:var(--bad);font-weight:700;white-space:nowrap}.other{color:var(--wait);font-weight:700;white-space:nowrap}
th[scope=col]{overflow-wrap:normal}.scroll{overflow-x:auto}.lev td,.lev th{text-align:center}.lev .miss{outline:2px solid var(--bad);outline-offset:-3px;font-weight:700;color:var(--bad)}
.caution{background:var(--panel);border:2px solid var(--wait);border-radius:.4rem;padding:.3rem 1rem;margin:1rem 0;break-inside:avoid}
ul{padding-left:1.2rem;margin:.4rem 0}li{margin:.2rem 0}
figure{margin:1rem 0;break-inside:avoid}figcaption{color:var(--soft);font-size:.88rem}
svg{width:100%;height:auto;max-width:45rem;display:block}td svg{max-width:14rem}
svg text{font:12px system-ui,"DejaVu Sans",sans-serif;fill:var(--soft)}svg .n{font-size:14px;font-weight:600;fill:var(--ink)}
.ok{fill:var(--okfill)}.guard{fill:var(--wait);opacity:.35}.lim{stroke:var(--ink);stroke-width:1.5}.u{stroke:var(--ink);stroke-width:1.5}.dot{fill:var(--ink)}
.g{stroke:var(--rule);stroke-width:.7}.i{fill:none;stroke:var(--blue);stroke-width:1.6}.v{fill:none;stroke:var(--wait);stroke-width:1.4}
.m{fill:none;stroke:var(--bad);stroke-width:1.4;stroke-dasharray:5 4}.mark{stroke:var(--soft);stroke-dasharray:2 3}.ring{fill:none;stroke:var(--ink);stroke-width:1.6}
.shell{fill:var(--panel);stroke:var(--rule);stroke-width:2}.pin{fill:var(--paper);stroke:var(--soft);stroke-width:1.4}.bad{fill:var(--paper);stroke:var(--bad);stroke-width:3}.badx{stroke:var(--bad);stroke-width:3}
@media (max-width:40rem){.cols{grid-template-columns:1fr}td.bar{width:7rem}body{padding:.6rem}}
@page{margin:14mm 13mm 16mm}
@media print{:root{--ink:#000;--soft:#333;--paper:#fff;--panel:#f3f3f3;--rule:#999;--good:#0d4a26;--bad:#8a1010;--wait:#6b4200;--blue:#133e6b;--okfill:#d6e6da}body{max-width:none;padding:0;font-size:10.5pt}h2,h3,caption,thead{break-after:avoid}.details{break-before:page}.scroll{overflow:visible}}
)css";

std::string_view word(Verdict verdict) {
  return verdict == Verdict::accept   ? "✔ ACCEPT"
         : verdict == Verdict::reject ? "✖ REJECT"
                                      : "▲ HOLD";
}

std::string outcome_cell(Outcome outcome) {
  if (outcome == Outcome::pass) return "<td class=\"pass\">✔ pass</td>";
  if (outcome == Outcome::fail) return "<td class=\"fail\">✖ fail</td>";
  const std::string shape = outcome == Outcome::bench_fault ? "■ "
                            : outcome == Outcome::skipped   ? "– "
                                                            : "▲ ";
  return "<td class=\"other\">" + shape + std::string(name_of(outcome)) + "</td>";
}

void head_row(std::string& out, const std::string& name, const std::string& value) {
  if (!value.empty()) out += "<div><dt>" + name + "</dt><dd>" + escape(value) + "</dd></div>";
}

void add_summary(const Input& input, std::string& out) {
  const auto& j = *input.judgement;
  const auto& h = input.record->header;
  out += "<header><h1>Solenoid pack inspection</h1><div class=\"verdict " +
         std::string(name_of(j.verdict)) + "\"><b>" + std::string(word(j.verdict)) +
         "</b><p>level <strong>" + std::string(name_of(j.level)) + "</strong></p><p>" +
         escape(j.why) + "</p></div><dl class=\"head\">";
  head_row(out, "Serial", h.serial);
  head_row(out, "Lot", h.lot);
  head_row(out, "Pack", input.profile->name);
  head_row(out, "Bench", h.bench_name);
  head_row(out, "Started", h.started_at);
  head_row(out, "Program", h.program);
  head_row(out, "Note", h.note);
  head_row(
      out, "Profile",
      h.profile_hash.substr(0, 12) + (h.profile_hash == input.profile->hash
                                          ? ""
                                          : "; judged by " + input.profile->hash.substr(0, 12)));
  out += "</dl></header>\n";
}

void add_findings(const Input& input, std::string& out) {
  const auto& findings = input.judgement->findings;
  out += "<h2>Findings</h2><div class=\"cols\"><div>";
  if (findings.empty()) out += "<p>No fault was named.</p>";
  for (const auto& f : findings) {
    out += "<div class=\"find\"><p><strong>✖ " + escape(f.text) + "</strong></p>";
    if (!f.pins.empty())
      out += "<p class=\"s\">Pins: " + escape(inspection::list_of(f.pins)) + "</p>";
    for (const std::string& e : f.evidence) out += "<p class=\"s\">Seen: " + escape(e) + "</p>";
    if (!f.next.empty()) out += "<p>Next: " + escape(f.next) + "</p>";
    out += "</div>";
  }
  out += "</div><figure>" + connector_face(input) +
         "<figcaption>Looking into the pack's connector. Crossed squares: pins of a "
         "finding.</figcaption></figure></div>\n";
}

void add_list(const std::string& title, const std::vector<std::string>& lines, std::string& out,
              const char* kind) {
  out += "<section class=\"" + std::string(kind) + "\"><h2>" + title + "</h2><ul>";
  for (const std::string& text : lines) out += "<li>" + escape(text) + "</li>";
  out += "</ul></section>\n";
}

void add_overview(const Input& input, std::string& out) {
  out += "<h2>What was tested</h2><table><caption>Decision rule: " + escape(input.judgement->rule) +
         "</caption><thead><tr><th scope=\"col\">Check</th><th scope=\"col\">Passed</th><th "
         "scope=\"col\">Of</th></tr></thead><tbody>";
  for (const auto* kind : inspection::check_kinds()) {
    std::size_t all = 0, passed = 0;
    for (const Result& r : input.judgement->results)
      if (r.check == kind->name) ++all, passed += r.outcome == Outcome::pass;
    if (all > 0)
      out += "<tr><th scope=\"row\">" + std::string(kind->heading) + "</th><td class=\"" +
             (passed == all ? "pass\">✔ " : "fail\">✖ ") + std::to_string(passed) + "</td><td>" +
             std::to_string(all) + "</td></tr>";
  }
  out += "</tbody></table>\n";
}

void add_checks(const Input& input, std::string& out) {
  for (const auto* kind : inspection::check_kinds()) {
    std::string rows;
    for (const Result& r : input.judgement->results) {
      if (r.check != kind->name) continue;
      rows += "<tr><th scope=\"row\">" + escape(r.title) + "</th>" + outcome_cell(r.outcome) +
              "<td>" + escape(r.text) + "</td><td class=\"bar\">" + limit_bar(r) + "</td></tr>";
    }
    if (!rows.empty())
      out += "<h3>" + std::string(kind->heading) +
             "</h3><div class=\"scroll\"><table><thead><tr><th scope=\"col\">Check</th><th "
             "scope=\"col\">Outcome</th><th scope=\"col\">Reading (U at k = 2)</th><th "
             "scope=\"col\">Against its limits</th></tr></thead><tbody>" +
             rows + "</tbody></table></div>\n";
  }
}

void add_lever(const Input& input, std::string& out) {
  const auto& rows = input.judgement->lever;
  if (rows.empty()) return;
  out +=
      "<h3>Lever table as read</h3><div class=\"scroll\"><table class=\"lev\"><caption>1 open, 0 "
      "closed. Where reading and table differ: table → reading, boxed.</caption><thead><tr><th "
      "scope=\"col\">Position</th>";
  for (const std::string& contact : rows.front().contacts)
    out += "<th scope=\"col\">" + escape(contact) + "</th>";
  out += "</tr></thead><tbody>";
  for (const auto& row : rows) {
    out += "<tr><th scope=\"row\">" + escape(row.position) + "</th>";
    for (std::size_t k = 0; k < row.seen.size(); ++k) {
      const bool same = row.expected[k] == 'x' || row.expected[k] == row.seen[k];
      const std::string text = same ? std::string(1, row.seen[k])
                                    : std::string(1, row.expected[k]) + " → " + row.seen[k];
      out += std::string("<td") + (same ? "" : " class=\"miss\"") + ">" + text + "</td>";
    }
    out += "</tr>";
  }
  out += "</tbody></table></div>\n";
}

void add_traces(const Input& input, std::string& out) {
  if (input.judgement->traces.empty()) return;
  out += "<h2>Driven coils</h2>";
  for (const auto& trace : input.judgement->traces) {
    const auto& capture = std::get<record::Capture>(input.record->events[trace.event]);
    const auto& f = trace.figures;
    std::string text =
        "R " + format_estimate(f.resistance_ohm, Unit::ohm) + ", L " +
        format_estimate(f.inductance_H, Unit::henry) + ", τ " +
        format_estimate(f.time_constant_s, Unit::second) + ", rise 10–90 % " +
        format_estimate(f.rise_time_s, Unit::second) +
        ". Plunger: " + std::string(name_of(f.plunger)) + " (" + f.plunger_reason + "). Release: " +
        (f.release_s.usable() ? format_estimate(f.release_s, Unit::second) : f.release_reason) +
        ".";
    if (f.status != waveform::Status::ok)
      text = "No full reading: " + std::string(text_of(f.status)) + ".";
    out += "<h3>Coil " + escape(trace.coil) + "</h3><figure>" + waveform_plot(capture, trace) +
           "<figcaption>Solid: the rise of the current (above) and the coil voltage over the whole "
           "pulse (below). Dashed: the coil with its plunger at rest, as fitted. " +
           escape(text) + "</figcaption></figure>\n";
  }
}

std::string joined(const std::vector<std::string>& words) {
  return escape(inspection::list_of(words));
}

void add_readings(const Input& input, std::string& out) {
  out +=
      "<h2>Readings</h2><div class=\"scroll\"><table><caption>Every reading in the order it was "
      "taken; U at k = 2.</caption><thead><tr><th scope=\"col\">For</th><th "
      "scope=\"col\">From</th><th scope=\"col\">To</th><th scope=\"col\">State</th><th "
      "scope=\"col\">Reading</th><th scope=\"col\">How</th></tr></thead><tbody>";
  for (const record::Event& event : input.record->events) {
    const auto* r = std::get_if<record::Reading>(&event);
    if (!r) continue;
    out += "<tr><td>" +
           escape(r->key.check + " " + r->key.subject +
                  (r->key.role.empty() ? "" : ", " + r->key.role)) +
           "</td><td>" + joined(r->from) + "</td><td>" + joined(r->to) + "</td><td>" +
           escape(text_of(r->condition)) + "</td><td>" + escape(inspection::text_of(*r)) +
           "</td><td>" + escape(r->function) + "</td></tr>";
  }
  out += "</tbody></table></div>\n";
}

}  // namespace

std::string to_html(const Input& input) {
  std::string out =
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" "
      "content=\"width=device-width, initial-scale=1\"><meta name=\"color-scheme\" content=\"light "
      "dark\"><title>" +
      std::string(word(input.judgement->verdict)) + " " + escape(input.record->header.serial) +
      "</title><style>" + std::string(kStyle) + "</style></head><body>\n";
  add_summary(input, out);
  add_findings(input, out);
  add_overview(input, out);
  add_list("Not tested", input.judgement->not_tested, out, "nottested");
  add_list("Cautions", input.judgement->cautions, out, "caution");
  out += "<div class=\"details\"><h2>Every check</h2>";
  add_checks(input, out);
  add_lever(input, out);
  out += "</div>";
  add_traces(input, out);
  add_readings(input, out);
  return out + "</body></html>\n";
}

}  // namespace pinproof::report
