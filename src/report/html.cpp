// One self-contained file: screen, A4 and Letter.
#include "report/html.h"

#include <algorithm>
#include <cmath>

#include "inspection/checks/check.h"
#include "inspection/checks/coil_expected.h"
#include "quantity/text.h"
#include "report/coil_plots.h"
#include "report/html_summary.h"
#include "report/page.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using inspection::Result;

// All of it, where page one had to be short.
void add_findings(const Input& input, Markup& out) {
  const auto& findings = input.judgement->findings;
  if (findings.empty()) return;
  out += "<h2>Every finding</h2>";
  for (const auto& f : findings) {
    out += "<div class=\"find\"><p><strong>✖ " + plain(f.text) + "</strong></p>";
    if (!f.pins.empty())
      out += "<p class=\"s\">Pins: " + plain(inspection::list_of(f.pins)) + "</p>";
    for (const std::string& e : f.evidence) out += "<p class=\"s\">Seen: " + plain(e) + "</p>";
    if (!f.next.empty()) out += "<p>Next: " + plain(f.next) + "</p>";
    out += "</div>";
  }
}

void add_list(Literal title, const std::vector<std::string>& lines, Markup& out, Literal kind) {
  if (lines.empty()) return;
  out += "<section class=\"" + Markup(kind) + "\"><h2>" + title + "</h2><ul>";
  for (const std::string& text : lines) out += "<li>" + plain(text) + "</li>";
  out += "</ul></section>\n";
}

void add_checks(const Input& input, Markup& out) {
  for (const auto* kind : inspection::check_kinds()) {
    Markup rows;
    for (const Result& r : input.judgement->results) {
      if (r.check != kind->name) continue;
      rows += "<tr><th scope=\"row\">" + plain(r.title) + "</th>" + "<td>" +
              state(name_of(r.outcome)) + "</td>" + "<td>" + plain(r.text) +
              "</td><td class=\"bar\">" + limit_bar(r) + "</td></tr>";
    }
    if (!rows.empty())
      out += "<h3>" + plain(kind->heading) + "</h3>" + open_scroll(kind->heading) +
             "<table><thead><tr><th scope=\"col\">Check</th><th scope=\"col\">Outcome</th><th "
             "scope=\"col\">Reading (U at k = 2)</th><th scope=\"col\">Against its "
             "limits</th></tr></thead><tbody>" +
             rows + "</tbody></table></div>\n";
  }
}

void add_lever(const Input& input, Markup& out) {
  const auto& rows = input.judgement->lever;
  if (rows.empty()) return;
  out += "<h3>Lever table as read</h3>" + open_scroll("Lever table as read") +
         "<table class=\"lev\"><caption>1 open, 0 closed. Where reading and table differ: table → "
         "reading, boxed.</caption><thead><tr><th scope=\"col\">Position</th>";
  for (const std::string& contact : rows.front().contacts)
    out += "<th scope=\"col\">" + plain(contact) + "</th>";
  out += "</tr></thead><tbody>";
  for (const auto& row : rows) {
    out += "<tr><th scope=\"row\">" + plain(row.position) + "</th>";
    for (std::size_t k = 0; k < row.seen.size(); ++k) {
      const bool same = row.expected[k] == 'x' || row.expected[k] == row.seen[k];
      const std::string text = same ? std::string(1, row.seen[k])
                                    : std::string(1, row.expected[k]) + " → " + row.seen[k];
      out += "<td" + (same ? Markup() : " class=\"miss\""_html) + ">" + plain(text) + "</td>";
    }
    out += "</tr>";
  }
  out += "</tbody></table></div>\n";
}

// Travel and loop, folded away: for those who want to look deeper.
Markup magnetic_plots(const Input& input, const record::PulseCapture& capture,
                      const inspection::CoilTrace& trace) {
  const auto* part = input.profile->find_part(trace.coil);
  if (!part || !part->coil()) return {};
  const auto m =
      waveform::magnetics_of(inspection::samples_of(capture),
                             inspection::analysis_options(*part->coil(), capture), trace.figures);
  if (m.loop.empty()) return {};
  Markup out = "<details><summary>Travel and flux of coil " + plain(trace.coil) +
               "</summary><figure>" + travel_plot(m, trace.figures) +
               "<figcaption>Travel of the plunger as a share of the gap at rest, from flux "
               "and current.</figcaption></figure><figure>" +
               loop_plot(m.loop, "Coil " + trace.coil) +
               "<figcaption>Flux linkage against magnetising current, on and back.";
  if (m.stroke_work_J.usable())
    out += " Work of the stroke " + plain(format_estimate(m.stroke_work_J, Unit::joule)) + ".";
  return out + "</figcaption></figure></details>\n";
}

void add_traces(const Input& input, Markup& out) {
  if (input.judgement->traces.empty()) return;
  out += "<h2>Driven coils</h2>";
  for (const auto& trace : input.judgement->traces) {
    const auto& capture = std::get<record::PulseCapture>(input.record->events[trace.event]);
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
    out += "<h3>Coil " + plain(trace.coil) + "</h3><figure>" + waveform_plot(capture, trace) +
           "<figcaption>Solid: the rise of the current (above) and the coil voltage over the whole "
           "pulse (below). Dashed: the coil with its plunger at rest, as fitted. " +
           plain(text) + "</figcaption></figure>\n" + magnetic_plots(input, capture, trace);
  }
}

Markup plain_list(const std::vector<std::string>& words) {
  return plain(inspection::list_of(words));
}

void add_readings(const Input& input, Markup& out) {
  out += "<h2>Readings</h2>" + open_scroll("Readings") +
         "<table><caption>Every reading in the order it was taken; U at k = "
         "2.</caption><thead><tr><th scope=\"col\">For</th><th scope=\"col\">From</th><th "
         "scope=\"col\">To</th><th scope=\"col\">State</th><th scope=\"col\">Reading</th><th "
         "scope=\"col\">How</th></tr></thead><tbody>";
  for (const record::Event& event : input.record->events) {
    const auto* r = std::get_if<record::Reading>(&event);
    if (!r) continue;
    out += "<tr><td>" +
           plain(r->key.check + " " + r->key.subject +
                 (r->key.role.empty() ? "" : ", " + r->key.role)) +
           "</td><td>" + plain_list(r->from) + "</td><td>" + plain_list(r->to) + "</td><td>" +
           plain(text_of(r->condition)) + "</td><td>" + plain(inspection::text_of(*r)) +
           "</td><td>" + plain(r->function) + "</td></tr>";
  }
  out += "</tbody></table></div>\n";
}

}  // namespace

std::string to_html(const Input& input) { return to_html(input, {}, {}); }

std::string to_html(const Input& input, const Markup& above, const Markup& notice) {
  const auto& h = input.record->header;
  const std::string verdict(name_of(input.judgement->verdict));
  Markup out = above + "<main>\n" + summary_page(input, notice) + "<div class=\"details\">";
  out += "<h2>Names in full</h2>" + identity(input, 0);
  add_findings(input, out);
  out += "<h2>Every check</h2><div class=\"checks\">";
  add_checks(input, out);
  out += "</div>";
  add_lever(input, out);
  add_traces(input, out);
  add_readings(input, out);
  add_list("Not tested, in full", input.judgement->not_tested, out, "nottested");
  add_list("Cautions, in full", input.judgement->cautions, out, "caution");
  out += "</div></main>";
  return document(
      std::string(shape_of(verdict)) + " " + verdict + " " + h.serial,
      summary_style() +
          running_heads(h.serial.empty() ? "no serial" : "Serial " + h.serial,
                        verdict + ", level " + std::string(name_of(input.judgement->level))),
      out);
}

}  // namespace pinproof::report
