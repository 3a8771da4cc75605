#include <cmath>

#include "quantity/text.h"
#include "report/coil_plots.h"
#include "report/coil_study.h"
#include "report/drawing.h"
#include "report/page.h"

namespace pinproof::report {
namespace {

Markup figure(const Markup& drawing, const std::string& caption) {
  if (drawing.empty()) return {};
  return "<figure>" + drawing + "<figcaption>" + plain(caption) + "</figcaption></figure>\n";
}

Markup findings(const CoilStudy& s) {
  Markup out;
  for (const auto& f : s.findings) {
    out += "<div class=\"find\"><p><b>" + plain(f.text) + "</b></p>";
    for (const auto& rival : f.rivals)
      out += "<p class=\"s\">Not told apart here from: " + plain(rival) + "</p>";
    if (!f.advice.empty()) out += "<p>" + plain(f.advice) + "</p>";
    out += "</div>";
  }
  return out.empty() ? out : "<h2>Findings</h2>" + out;
}

Markup inductances(const waveform::Magnetics& m) {
  if (m.at_rest.empty() && m.seated.empty()) return {};
  Markup out(
      "<h2>Incremental inductance</h2><div class=\"scroll\"><table><caption>Slope of flux linkage "
      "against magnetising current; U at k = 2.</caption><thead><tr><th scope=\"col\">Plunger</th>"
      "<th scope=\"col\">Current</th><th scope=\"col\">Inductance</th></tr></thead><tbody>");
  const auto rows = [&](const std::vector<waveform::IncrementalInductance>& list, Literal where) {
    for (const auto& l : list)
      out += "<tr><td>" + Markup(where) + "</td><td>" + plain(format_si(l.current_A, Unit::ampere, 3)) +
             "</td><td>" + plain(format_estimate(l.inductance_H, Unit::henry)) + "</td></tr>";
  };
  rows(m.at_rest, "at rest");
  rows(m.seated, "seated");
  return out + "</tbody></table></div>\n";
}

Markup sheet(const CoilStudy& s) {
  return "<h2>Figures</h2><pre>" + escape_lines(coil_text(s)) + "</pre>\n";
}

Markup single_pulse(const CoilStudy& s) {
  Markup out = findings(s) + "<h2>Rise</h2>";
  out += figure(rise_plot(s),
                "Solid: the current. Dashed: the coil with its plunger at rest, as fitted." +
                    std::string(s.known_good.empty() ? "" : " Grey: the known-good captures."));
  out += figure(travel_plot(s.magnetics, s.figures),
                "Travel of the plunger as a share of the gap at rest, from flux and current. "
                "Saturating iron bends it down again after seating.");
  out += figure(loop_plot(s.magnetics.loop, s.name),
                "Flux linkage against magnetising current: solid while on, the other line after "
                "switch-off. The area between the way up and the seated line is the work of the "
                "stroke.");
  return out + sheet(s) + inductances(s.magnetics);
}

}  // namespace

std::string coil_html(const CoilStudy& s) {
  Markup out = "<main><h1>Coil capture " + plain(s.name) + "</h1>\n";
  if (s.modulated)
    out += "<h2>Duty sweep</h2>" +
           figure(duty_plot(s.duty),
                  "Mean current on the way up and on the way down, and (dashed) the ripple's peak "
                  "to peak.") +
           sheet(s);
  else
    out += single_pulse(s);
  out +=
      "<div class=\"caution\"><h2>Cautions</h2><ul><li>Coil heat: a coil left on at battery "
      "voltage can burn skin, insulation and plastic within seconds. Never bypass the supply's "
      "current limit.</li><li>Follow the maker's service information and the local rules; they go "
      "before anything said here.</li></ul></div>\n</main>";
  return document("Coil " + s.name, {}, out);
}

}  // namespace pinproof::report
