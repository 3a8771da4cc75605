#include <algorithm>
#include <cmath>

#include "quantity/lines.h"
#include "quantity/text.h"
#include "report/coil_study.h"

namespace pinproof::report {
namespace {

constexpr std::size_t kColumn = 24;

class Sheet {
 public:
  void row(const std::string& name, const std::string& text) {
    const std::size_t used = std::min(kColumn - 1, columns(name));
    wrap(out_, name + std::string(kColumn - used, ' '), text);
  }
  void row(const std::string& name, const Estimate& value, Unit unit) {
    row(name, value.usable() ? format_estimate(value, unit) : std::string("not seen"));
  }
  void optional_row(const std::string& name, const Estimate& value, Unit unit) {
    if (value.usable()) row(name, value, unit);
  }
  void event(const std::string& name, const std::optional<waveform::CurrentEvent>& e) {
    if (e)
      row(name, format_si(e->current_A, Unit::ampere, 4) + " at " +
                    format_estimate({e->at_s, e->u_s}, Unit::second));
  }
  void line(const std::string& text) { wrap(out_, "", text); }
  void table_line(const std::string& text) { out_ += text + "\n"; }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
};

void add_figures(const CoilStudy& s, Sheet& sheet) {
  const auto& f = s.figures;
  if (f.status != waveform::Status::ok)
    sheet.row("No full reading", std::string(text_of(f.status)));
  sheet.row("Resistance", f.resistance_ohm, Unit::ohm);
  sheet.optional_row("  at 20 °C", s.resistance_20_ohm, Unit::ohm);
  sheet.row("Inductance at rest", f.inductance_H, Unit::henry);
  sheet.row("Time constant", f.time_constant_s, Unit::second);
  sheet.row("Eddy fraction a", f.eddy_fraction, Unit::none);
  sheet.row("Final current", f.final_current_A, Unit::ampere);
  sheet.row("Flux linkage", f.flux_linkage_Vs, Unit::weber);
  sheet.row("Rise time 10-90 %", f.rise_time_s, Unit::second);
  sheet.event("Travel begins", f.travel_begin);
  sheet.optional_row("Freed by", f.needed_current_A, Unit::ampere);
  sheet.event("Peak before the dip", f.current_peak);
  sheet.event("Seated", f.pull_in);
  sheet.event("Travel at 95 %", f.travel_end);
  if (f.stroke_share.usable())
    sheet.row("Stroke of the gap", {100 * f.stroke_share.value, 100 * f.stroke_share.u},
              Unit::percent);
  if (f.bounces > 0) sheet.row("Bounces", std::to_string(f.bounces));
  sheet.optional_row("Field energy", s.magnetics.field_energy_J, Unit::joule);
  sheet.optional_row("Work of the stroke", s.magnetics.stroke_work_J, Unit::joule);
  sheet.row("Release", f.release_s, Unit::second);
  sheet.row("Clamp voltage", f.clamp_V, Unit::volt);
  sheet.optional_row("Supply and leads", f.source_ohm, Unit::ohm);
  if (f.hum.hertz > 0)
    sheet.row("Mains hum", format_si(f.hum.amplitude, Unit::ampere, 2) + " at " +
                               std::to_string(static_cast<int>(f.hum.hertz)) + " Hz");
  sheet.row("Plunger", std::string(name_of(f.plunger)) +
                           (f.plunger_reason.empty() ? "" : ": " + f.plunger_reason));
}

void add_hot(const HotMargin& hot, Sheet& sheet) {
  const std::string at = "at " + format_si(hot.celsius, Unit::celsius, 3) + " and " +
                         format_si(hot.supply_V, Unit::volt, 3);
  if (!hot.margin.reason.empty()) {
    sheet.row("Hot margin", "not judged " + at + ": " + hot.margin.reason);
    return;
  }
  const Estimate& m = hot.margin.margin;
  std::string text = format_estimate({100 * m.value, 100 * m.u}, Unit::percent) + " " + at +
                     ": it gets " + format_estimate(hot.margin.hot_current_A, Unit::ampere) +
                     " and needs " + format_estimate(hot.margin.needed_current_A, Unit::ampere);
  if (hot.ends_celsius.usable())
    text += "; used up at " + format_estimate(hot.ends_celsius, Unit::celsius);
  sheet.row("Hot margin", text);
}

void add_distance(const waveform::Distance& d, Sheet& sheet) {
  if (!d.reason.empty()) {
    sheet.row("Against known-good", d.reason);
    return;
  }
  std::string used;
  for (const auto trait : d.used) used += (used.empty() ? "" : ", ") + std::string(name_of(trait));
  sheet.row("Against known-good", "distance " + format_si(d.distance, Unit::none, 3) + " from " +
                                      std::to_string(d.captures) + " captures by " + used + "; " +
                                      format_si(100 * d.false_alarm, Unit::percent, 2) +
                                      " of good units lie as far out or farther");
}

std::string duty_text(const waveform::DutySweep& s) {
  Sheet sheet;
  if (!s.reason.empty()) {
    sheet.row("No duty sweep", s.reason);
    return sheet.take();
  }
  sheet.row("Switching", format_si(s.frequency_Hz, Unit::none, 4) + " Hz, " +
                             format_si(s.step_V, Unit::volt, 4));
  sheet.row("Resistance", s.resistance_ohm, Unit::ohm);
  sheet.table_line("    Duty        Mean current     Ripple     Way");
  for (const auto& l : s.levels) {
    const auto right = [](const std::string& text, std::size_t width) {
      return std::string(width - std::min(width, columns(text)), ' ') + text;
    };
    sheet.table_line(right(format_si(100 * l.duty, Unit::percent, 3), 8) +
                     right(format_estimate(l.mean_A, Unit::ampere), 20) +
                     right(format_si(l.ripple_A, Unit::ampere, 3), 11) +
                     (l.rising ? "     up" : "     down"));
  }
  if (!s.both_ways.empty())
    sheet.row("Up against down", format_si(s.hysteresis_A, Unit::ampere, 2) +
                                     " of mean current and " +
                                     format_si(100 * s.ripple_hysteresis, Unit::percent, 2) +
                                     " of ripple at equal duty, at most");
  sheet.row("Dither", s.dither_Hz > 0 ? format_si(s.dither_A, Unit::ampere, 2) + " at " +
                                            format_si(s.dither_Hz, Unit::none, 3) + " Hz"
                                      : std::string("none seen"));
  return sheet.take();
}

}  // namespace

std::string coil_text(const CoilStudy& s) {
  if (s.modulated) return duty_text(s.duty);
  Sheet sheet;
  add_figures(s, sheet);
  if (s.hot) add_hot(*s.hot, sheet);
  if (s.distance) add_distance(*s.distance, sheet);
  for (const auto& f : s.findings) {
    sheet.row("Finding", f.text);
    for (const auto& rival : f.rivals) sheet.row("", "not told apart here from: " + rival);
    if (!f.advice.empty()) sheet.row("", f.advice);
  }
  sheet.line("Uncertainties are U at k = 2.");
  return sheet.take();
}

}  // namespace pinproof::report
