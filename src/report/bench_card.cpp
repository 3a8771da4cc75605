#include "report/bench_card.h"

#include <array>
#include <cmath>
#include <vector>

#include "inspection/checks/evidence.h"
#include "inspection/judge/notes.h"
#include "metrology/copper.h"
#include "network/reach.h"
#include "quantity/text.h"
#include "report/page.h"
#include "report/svg.h"

namespace pinproof::report {
namespace {

using profile::Part;
using profile::Profile;

constexpr std::array kCelsius{20.0, 40.0, 60.0};
constexpr std::size_t kFew = 3;  // parts on a pin that are written out there

std::string ohms(double value) { return format_si(value, Unit::ohm, 3); }

std::string range(double low, double high) { return ohms(low) + " to " + ohms(high); }

std::string at_least(double ohm) { return "open: at least " + ohms(ohm); }

std::string closed_text(double closed_ohm, const std::optional<Interval>& series) {
  return series ? range(series->low, series->high + closed_ohm) : "at most " + ohms(closed_ohm);
}

Markup cells(const std::vector<std::string>& texts) {
  Markup out;
  for (const std::string& text : texts) out += "<td>" + plain(text) + "</td>";
  return out;
}

Markup across(const std::string& text) { return "<td colspan=\"3\">" + plain(text) + "</td>"; }

Markup coil_cells(const Part& part, double wires_ohm) {
  Markup out;
  for (const double celsius : kCelsius) {
    const double ratio = metrology::copper_ratio(celsius, part.coil()->resistance_celsius);
    const Interval& R = part.coil()->resistance_ohm;
    out += "<td>" + plain(range(R.low * ratio, R.high * ratio + wires_ohm)) + "</td>";
  }
  return out;
}

Markup thermistor_cells(const Part& part) {
  Markup out;
  for (const double celsius : kCelsius) {
    const auto ohm = profile::thermistor_ohm(*part.thermistor(), celsius);
    out += "<td>" + (ohm ? "about " + plain(ohms(*ohm)) : Markup("–")) + "</td>";
  }
  return out;
}

// Three cells: what is good between the part's two terminals.
Markup good_cells(const Profile& p, const Part& part, double wires_ohm) {
  if (part.coil()) return coil_cells(part, wires_ohm);
  if (part.thermistor()) return thermistor_cells(part);
  if (part.resistor())
    return across(range(part.resistor()->resistance_ohm.low,
                        part.resistor()->resistance_ohm.high + wires_ohm));
  if (part.wire()) return across("at most " + ohms(part.wire()->max_ohm));
  if (part.diode())
    return across("forward " + format_si(part.diode()->forward_V.low, Unit::volt, 3) + " to " +
                  format_si(part.diode()->forward_V.high, Unit::volt, 3));
  if (part.pressure_switch())
    return across((part.pressure_switch()->rest == profile::Rest::open
                       ? at_least(p.open_ohm)
                       : closed_text(part.pressure_switch()->closed_ohm,
                                     part.pressure_switch()->series_ohm)) +
                  " at rest");
  if (part.contact())
    return across("by the lever; closed " +
                  closed_text(part.contact()->closed_ohm, part.contact()->series_ohm));
  return across("–");
}

struct AtPin {
  const Part* part;
  std::string other;
  double wires_ohm;
};

std::vector<AtPin> parts_at(const Profile& p, const std::string& pin) {
  std::vector<AtPin> out;
  for (const Part& part : p.parts) {
    const auto leads = network::leads_of(p, part);
    if (!leads || leads->from == leads->to) continue;
    if (leads->from == pin || leads->to == pin)
      out.push_back({&part, leads->from == pin ? leads->to : leads->from, leads->wires_max_ohm});
  }
  return out;
}

std::string part_name(const Part& part) {
  return (part.coil()              ? "coil "
          : part.pressure_switch() ? "switch "
          : part.contact()         ? "contact "
                                   : "") +
         part.name;
}

std::string node_name(const Profile& p, const std::string& node) {
  return p.is_pin(node) ? "pin " + node : node;
}

// Where many parts meet, their own pins tell more.
Markup meeting(const std::vector<AtPin>& parts) {
  std::vector<std::string> names;
  for (const AtPin& one : parts) names.push_back(part_name(*one.part));
  const std::string all = inspection::list_of(names);
  return "<td colspan=\"5\">" + plain(all, 110) + ": see their own pins</td>";
}

Markup pin_rows(const Profile& p, const profile::Pin& pin) {
  auto parts = parts_at(p, pin.number);
  const bool many = parts.size() > kFew;
  const Markup span =
      attribute("rowspan", std::to_string(many || parts.empty() ? 1 : parts.size()));
  Markup out = "<tr><th scope=\"row\"" + span + ">" + plain(pin.number) + "</th><td" + span + ">" +
               plain(pin.signal, 60) + "</td><td" + span + ">" + plain(pin.colour, 24) + "</td>";
  if (parts.empty()) return out + "<td colspan=\"5\">no part of its own</td></tr>";
  if (many) return out + meeting(parts) + "</tr>";
  for (std::size_t k = 0; k < parts.size(); ++k)
    out += (k > 0 ? "<tr>"_html : ""_html) +
           cells({part_name(*parts[k].part), node_name(p, parts[k].other)}) +
           good_cells(p, *parts[k].part, parts[k].wires_ohm) + "</tr>";
  return out;
}

Markup head(const std::vector<std::string>& names) {
  Markup out("<thead><tr>");
  for (const std::string& name : names) out += "<th scope=\"col\">" + plain(name) + "</th>";
  return out + "</tr></thead>";
}

Markup pin_chart(const Profile& p) {
  Markup out =
      "<section><h2>Pin by pin</h2>" + open_scroll("Pin by pin") +
      "<table><caption>Good resistance between the pin and the other end, wires of the pack "
      "included, those of the meter not. Coils by copper's coefficient: R is proportional to 234.5 "
      "+ t (IEC 60028).</caption>" +
      head({"Pin", "Signal", "Colour", "Part", "To", "Good at 20 °C", "at 40 °C", "at 60 °C"}) +
      "<tbody>";
  for (const auto& pin : p.connector.pins) out += pin_rows(p, pin);
  return out + "</tbody></table></div></section>\n";
}

Markup switches(const Profile& p) {
  Markup rows;
  for (const Part& part : p.parts) {
    if (!part.pressure_switch()) continue;
    const auto& s = *part.pressure_switch();
    const std::string closed = closed_text(s.closed_ohm, s.series_ohm), open = at_least(p.open_ohm);
    const bool rests_open = s.rest == profile::Rest::open;
    rows += "<tr><th scope=\"row\">" + plain(part.name, 24) + "</th>" +
            cells({s.element, rests_open ? open : closed, rests_open ? closed : open,
                   format_si(s.trip_Pa, Unit::pascal, 3), format_si(s.reset_Pa, Unit::pascal, 3)}) +
            "</tr>";
  }
  return rows.empty()
             ? rows
             : "<section><h2>Pressure switches</h2>" + open_scroll("Pressure switches") +
                   "<table>" +
                   head({"Switch", "Air at", "At rest", "Under air", "Changes by", "Back by"}) +
                   "<tbody>" + rows + "</tbody></table></div></section>\n";
}

std::string limits_of(const std::optional<Interval>& limit, Unit unit) {
  return limit ? format_si(limit->low, unit, 3) + " to " + format_si(limit->high, unit, 3) : "–";
}

Markup driving(const Profile& p) {
  Markup rows;
  for (const Part& part : p.parts) {
    if (!part.coil()) continue;
    const auto& c = *part.coil();
    rows += "<tr><th scope=\"row\">" + plain(part.name, 16) + "</th>" +
            cells({format_si(c.energy.max_current_A, Unit::ampere, 3),
                   format_si(c.energy.max_pulse_s, Unit::second, 3),
                   format_si(c.energy.rest_s, Unit::second, 3),
                   limits_of(c.pull_in_s, Unit::second), limits_of(c.inductance_H, Unit::henry)}) +
            "</tr>";
  }
  return rows.empty()
             ? rows
             : "<section><h2>When a coil is driven</h2>" + open_scroll("When a coil is driven") +
                   "<table><caption>Never without a current limit.</caption>" +
                   head({"Coil", "At most", "On at most", "Then rest", "Seats within",
                         "Inductance"}) +
                   "<tbody>" + rows + "</tbody></table></div></section>\n";
}

Literal sign(profile::Bit bit) {
  return bit == profile::Bit::open ? "1"_html : bit == profile::Bit::closed ? "0"_html : "x"_html;
}

std::vector<std::string> lever_contacts(const profile::Lever& lever) {
  auto out = lever.lines;
  for (const std::string& more : {lever.start_permit, lever.reverse})
    if (!more.empty()) out.push_back(more);
  return out;
}

Markup lever_table(const Profile& p) {
  if (!p.lever) return {};
  const auto contacts = lever_contacts(*p.lever);
  std::vector<std::string> names{"Lever"};
  for (const std::string& contact : contacts) {
    const Part* part = p.find_part(contact);
    const auto leads = part ? network::leads_of(p, *part) : std::nullopt;
    names.push_back(contact + (leads ? ", pin " + leads->from : ""));
  }
  Markup out = "<section><h2>Lever codes</h2>" + open_scroll("Lever codes") +
               "<table class=\"lev\"><caption>0 closed, 1 open, x either.</caption>" + head(names) +
               "<tbody>";
  for (std::size_t k = 0; k < p.lever->positions.size(); ++k) {
    out += "<tr><th scope=\"row\">" + plain(p.lever->positions[k].name, 12) + "</th>";
    for (const std::string& contact : contacts) {
      const auto bit = profile::lever_bit(*p.lever, contact, k);
      out += "<td>" + Markup(bit ? sign(*bit) : "x"_html) + "</td>";
    }
    out += "</tr>";
  }
  out += "</tbody></table></div>";
  if (!p.lever->variants.empty())
    out +=
        "<p>" + digits(p.lever->variants.size()) + " other code tables fit the same connector.</p>";
  return out + "</section>\n";
}

std::vector<profile::CurvePoint> points_of(const profile::Thermistor& t) {
  if (!t.table.empty() && t.table.size() <= 16) return t.table;
  std::vector<profile::CurvePoint> out;
  for (int celsius = -40; celsius <= 140; celsius += 20)
    if (const auto ohm = profile::thermistor_ohm(t, celsius))
      out.push_back({double(celsius), *ohm});
  return out;
}

Markup thermistors(const Profile& p) {
  Markup out;
  for (const Part& part : p.parts) {
    if (!part.thermistor()) continue;
    out += "<section><h2>" + plain(part.name, 40) + "</h2><ul class=\"plainlist points\">";
    for (const auto& point : points_of(*part.thermistor()))
      out += "<li>" + plain(format_si(point.celsius, Unit::celsius, 3) + ": " + ohms(point.ohm)) +
             "</li>";
    out += "</ul><p>Within " + plain(format_si(part.thermistor()->tolerance_K, Unit::none, 2)) +
           " K of the thermometer beside the pack.</p></section>\n";
  }
  return out;
}

Markup origin(const Profile& p) {
  Markup out("<section><h2>Where the numbers come from</h2><ul>");
  constexpr std::size_t kMost = 10;
  for (std::size_t k = 0; k < std::min(p.sources.size(), kMost); ++k)
    out += "<li>" + (p.sources[k].of == "*" ? Markup("All") : plain(p.sources[k].of, 60)) + ": " +
           plain(p.sources[k].text, 200) + "</li>";
  if (p.sources.empty()) out += "<li>The profile names no source.</li>";
  if (p.sources.size() > kMost)
    out += "<li>And " + digits(p.sources.size() - kMost) + " more in the profile.</li>";
  return out + "</ul><p>Profile <code>" + plain(p.hash) + "</code></p></section>\n";
}

Markup cautions(const Profile& p) {
  Markup out("<section class=\"caution\"><h2>Cautions</h2><ul class=\"two\">");
  for (const std::string& text : inspection::cautions(p)) out += "<li>" + plain(text) + "</li>";
  return out + "</ul></section>\n";
}

constexpr char kStyle[] = R"css(
main h2{margin:1.2rem 0 .3rem}.face svg{max-width:100%}.duo{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(22rem,100%),1fr));gap:0 2rem}code{overflow-wrap:anywhere}.points{columns:8rem}
.facts{display:flex;flex-wrap:wrap;gap:.2rem 2rem;margin:.4rem 0;padding:0;list-style:none}
@media print{:root{font-size:7.6pt}main h2{margin:1.6mm 0 .6mm;font-size:9pt;padding-bottom:.1mm;border-bottom-width:1px}h1{font-size:13pt}table{margin:.3mm 0;font-size:7.3pt}th,td{padding:.22mm .9mm}.face{margin:1mm 0}.face svg{max-height:48mm;margin:0 auto}.duo{grid-template-columns:1fr 1fr;gap:0 5mm}.caution{padding:.2mm 3mm;margin:1mm 0;font-size:7pt;line-height:1.2}.two{columns:2}.points{columns:5}ul,p{margin:.3mm 0}li{margin:.2mm 0}section{break-inside:avoid-page}}
)css";

}  // namespace

std::string bench_card_html(const Profile& p) {
  Markup out = "<main><header><h1>" + shown(p.name, 80) + "</h1><ul class=\"facts\"><li>";
  out += "Insulation between circuits and to the case: at least <strong>" +
         plain(ohms(p.insulation_ohm)) + "</strong></li><li>Ground: pin <strong>" +
         plain(p.ground_pin) + "</strong></li><li>Coils switched on the " +
         (p.drive == profile::Drive::low_side ? "ground"_html : "feed"_html) + " side, " +
         plain(format_si(p.supply_V, Unit::volt, 3)) + "</li></ul></header>\n";
  if (!p.connector.face.empty())
    out += "<figure class=\"face\">" + connector_face(p.connector, {}, true) +
           "<figcaption>Looking into the pack's connector.</figcaption></figure>\n";
  out += pin_chart(p) + "<div class=\"duo\">" + switches(p) + driving(p) + lever_table(p) +
         thermistors(p) + "</div>" + cautions(p) + origin(p) + "</main>";
  return document(p.name + ": bench card",
                  kStyle + running_heads(p.name, "profile " + p.hash.substr(0, 12)), out);
}

}  // namespace pinproof::report
