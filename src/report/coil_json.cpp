#include <cmath>
#include <nlohmann/json.hpp>

#include "report/coil_figures_json.h"
#include "report/coil_study.h"
#include "report/number_json.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;

Json estimate(const Estimate& e) {
  return {{"value", number_json(e.value)}, {"u", number_json(e.u)}};
}
Json event(const std::optional<waveform::CurrentEvent>& e) {
  if (!e) return nullptr;
  return {{"at_s", number_json(e->at_s)},
          {"current_A", number_json(e->current_A)},
          {"u_s", number_json(e->u_s)}};
}

Json findings_json(const std::vector<waveform::CoilFinding>& findings) {
  Json out = Json::array();
  for (const auto& f : findings) {
    Json entry{{"kind", f.kind}, {"text", f.text}};
    if (f.probability > 0) entry["probability"] = f.probability;
    if (!f.rivals.empty()) entry["not_told_apart_from"] = f.rivals;
    if (!f.advice.empty()) entry["next"] = f.advice;
    out.push_back(std::move(entry));
  }
  return out;
}

Json inductances_json(const std::vector<waveform::IncrementalInductance>& list) {
  Json out = Json::array();
  for (const auto& l : list)
    out.push_back(
        {{"current_A", number_json(l.current_A)}, {"inductance_H", estimate(l.inductance_H)}});
  return out;
}

Json magnetics_json(const waveform::Magnetics& m) {
  Json loop = Json::array();
  for (const auto& p : m.loop)
    loop.push_back({number_json(p.at_s), number_json(p.current_A), number_json(p.linkage_Vs),
                    number_json(p.travel_share)});
  return {{"incremental_inductance_at_rest", inductances_json(m.at_rest)},
          {"incremental_inductance_seated", inductances_json(m.seated)},
          {"field_energy_J", estimate(m.field_energy_J)},
          {"stroke_work_J", estimate(m.stroke_work_J)},
          {"drift_Vs", estimate(m.drift_Vs)},
          {"loop_columns", {"at_s", "current_A", "linkage_Vs", "travel_share"}},
          {"loop", std::move(loop)}};
}

Json margin_json(const HotMargin& hot) {
  Json out{{"celsius", hot.celsius}, {"supply_V", hot.supply_V}};
  if (!hot.margin.reason.empty()) {
    out["reason"] = hot.margin.reason;
    return out;
  }
  out["hot_current_A"] = estimate(hot.margin.hot_current_A);
  out["needed_current_A"] = estimate(hot.margin.needed_current_A);
  out["margin"] = estimate(hot.margin.margin);
  out["ends_celsius"] = estimate(hot.ends_celsius);
  return out;
}

Json distance_json(const waveform::Distance& d) {
  Json out{{"captures", d.captures}};
  if (!d.reason.empty()) {
    out["reason"] = d.reason;
    return out;
  }
  out["distance"] = number_json(d.distance);
  out["false_alarm"] = number_json(d.false_alarm);
  out["of"] = Json::array();
  for (const auto trait : d.used) out["of"].push_back(name_of(trait));
  return out;
}

Json duty_json(const waveform::DutySweep& s) {
  Json levels = Json::array(), pairs = Json::array();
  for (const auto& l : s.levels)
    levels.push_back({{"duty", l.duty},
                      {"mean_A", estimate(l.mean_A)},
                      {"ripple_A", number_json(l.ripple_A)},
                      {"resistance_ohm", estimate(l.resistance_ohm)},
                      {"rising", l.rising},
                      {"periods", l.periods}});
  for (const auto& p : s.both_ways)
    pairs.push_back({{"duty", p.duty},
                     {"up_A", p.up_A},
                     {"down_A", p.down_A},
                     {"up_ripple_A", p.up_ripple_A},
                     {"down_ripple_A", p.down_ripple_A}});
  return {{"reason", s.reason},
          {"frequency_Hz", number_json(s.frequency_Hz)},
          {"step_V", number_json(s.step_V)},
          {"resistance_ohm", estimate(s.resistance_ohm)},
          {"levels", std::move(levels)},
          {"both_ways", std::move(pairs)},
          {"hysteresis_A", number_json(s.hysteresis_A)},
          {"ripple_hysteresis", number_json(s.ripple_hysteresis)},
          {"dither_Hz", number_json(s.dither_Hz)},
          {"dither_A", number_json(s.dither_A)},
          {"least_slope", number_json(s.least_slope)}};
}

}  // namespace

Json figures_json(const waveform::CoilFigures& f) {
  Json out;
  out["status"] = f.status == waveform::Status::ok ? "ok" : std::string(text_of(f.status));
  out["resistance_ohm"] = estimate(f.resistance_ohm);
  out["inductance_H"] = estimate(f.inductance_H);
  out["time_constant_s"] = estimate(f.time_constant_s);
  out["eddy_fraction"] = estimate(f.eddy_fraction);
  out["final_current_A"] = estimate(f.final_current_A);
  out["flux_linkage_Vs"] = estimate(f.flux_linkage_Vs);
  out["rise_time_s"] = estimate(f.rise_time_s);
  out["onset_s"] = estimate({f.onset_s, f.onset_u_s});
  out["travel_begin"] = event(f.travel_begin);
  out["current_peak"] = event(f.current_peak);
  out["pull_in"] = event(f.pull_in);
  out["travel_end"] = event(f.travel_end);
  out["bounces"] = f.bounces;
  out["stroke_share"] = estimate(f.stroke_share);
  out["inductance_growth"] = estimate(f.inductance_growth);
  out["needed_current_A"] = estimate(f.needed_current_A);
  out["release_s"] = estimate(f.release_s);
  out["clamp_V"] = estimate(f.clamp_V);
  out["suppression"] = name_of(f.suppression);
  out["supply_V"] = number_json(f.supply_V);
  out["source_ohm"] = estimate(f.source_ohm);
  out["hum"] = f.hum.hertz > 0 ? Json{{"hertz", f.hum.hertz}, {"amplitude_A", f.hum.amplitude}}
                               : Json(nullptr);
  out["plunger"] = name_of(f.plunger);
  out["plunger_reason"] = f.plunger_reason;
  out["findings"] = findings_json(f.findings);
  out["fit"] = {{"model", f.fit.model},
                {"reason", f.fit.reason},
                {"residual_rms_A", number_json(f.fit.residual_rms_A)},
                {"samples", f.fit.samples},
                {"exponentials", f.fit.exponentials},
                {"from_s", number_json(f.fit.from_s)},
                {"to_s", number_json(f.fit.to_s)}};
  return out;
}

std::string coil_json(const CoilStudy& s) {
  Json out;
  if (s.modulated) {
    out["duty_sweep"] = duty_json(s.duty);
  } else {
    out = figures_json(s.figures);
    out["findings"] = findings_json(s.findings);
    out["celsius"] = estimate(s.celsius);
    out["resistance_20_ohm"] = estimate(s.resistance_20_ohm);
    if (s.hot) out["hot_margin"] = margin_json(*s.hot);
    if (s.distance) out["known_good"] = distance_json(*s.distance);
    if (s.magnetics.reason.empty() && !s.magnetics.loop.empty())
      out["magnetics"] = magnetics_json(s.magnetics);
  }
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace pinproof::report
