// One self-contained file: screen, A4 and Letter.
#include <algorithm>
#include <cmath>

#include "inspection/check.h"
#include "inspection/coil_expected.h"
#include "quantity/text.h"
#include "report/coil_plots.h"
#include "report/page.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using inspection::Outcome;
using inspection::Result;
using inspection::Verdict;

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

// Travel and loop, folded away: for those who want to look deeper.
std::string magnetic_plots(const Input& input, const record::Capture& capture,
                           const inspection::CoilTrace& trace) {
  const auto* part = input.profile->find_part(trace.coil);
  if (!part || !part->coil) return "";
  const auto m =
      waveform::magnetics_of(inspection::samples_of(capture),
                             inspection::analysis_options(*part->coil, capture), trace.figures);
  if (m.loop.empty()) return "";
  std::string out = "<details><summary>Travel and flux of coil " + escape(trace.coil) +
                    "</summary><figure>" + travel_plot(m, trace.figures) +
                    "<figcaption>Travel of the plunger as a share of the gap at rest, from flux "
                    "and current.</figcaption></figure><figure>" +
                    loop_plot(m.loop, "Coil " + trace.coil) +
                    "<figcaption>Flux linkage against magnetising current, on and back.";
  if (m.stroke_work_J.usable())
    out += " Work of the stroke " + escape(format_estimate(m.stroke_work_J, Unit::joule)) + ".";
  return out + "</figcaption></figure></details>\n";
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
           escape(text) + "</figcaption></figure>\n" + magnetic_plots(input, capture, trace);
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
      "</title><style>" + std::string(style()) + "</style></head><body>\n";
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
