#include <cmath>
#include <nlohmann/json.hpp>

#include "quantity/text.h"
#include "report/formats.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }

Json estimate(const Estimate& e) { return {{"value", number(e.value)}, {"u", number(e.u)}}; }

Json event(const waveform::Event& e) {
  return {{"at_s", number(e.at_s)}, {"current_A", number(e.current_A)}, {"u_s", number(e.u_s)}};
}

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
  out["current_peak"] = f.has_peak ? event(f.current_peak) : Json(nullptr);
  out["pull_in"] = f.has_pull_in ? event(f.pull_in) : Json(nullptr);
  out["release_s"] = estimate(f.release_s);
  out["clamp_V"] = estimate(f.clamp_V);
  out["suppression"] = name_of(f.suppression);
  out["plunger"] = name_of(f.plunger);
  out["plunger_reason"] = f.plunger_reason;
  out["findings"] = Json::array();
  for (const auto& finding : f.findings)
    out["findings"].push_back({{"kind", finding.kind}, {"text", finding.text}});
  out["fit"] = {{"model", f.fit.model},
                {"residual_rms_A", number(f.fit.residual_rms_A)},
                {"samples", f.fit.samples},
                {"from_s", number(f.fit.from_s)},
                {"to_s", number(f.fit.to_s)}};
  return out;
}

Json result_json(const inspection::Result& r) {
  Json out{{"check", r.check},
           {"subject", r.subject},
           {"title", r.title},
           {"outcome", name_of(r.outcome)},
           {"required", r.required}};
  if (r.value) out["value"] = number(r.value->value), out["u"] = number(r.value->u);
  out["unit"] = file_name(r.unit);
  if (r.limit)
    out["low"] = number(r.limit->low), out["high"] = number(r.limit->high),
    out["guard_band"] = number(r.guard_band);
  out["text"] = r.text;
  out["pins"] = r.pins;
  return out;
}

std::string dump(const Json& json) {
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace

std::string to_json(const Input& input) {
  const auto& j = *input.judgement;
  const auto& h = input.record->header;
  Json out{{"schema", "pinproof/report/1"},
           {"verdict", name_of(j.verdict)},
           {"level", name_of(j.level)},
           {"why", j.why},
           {"rule", j.rule},
           {"profile", h.profile_name},
           {"profile_hash", input.profile->hash},
           {"bench", h.bench_name},
           {"serial", h.serial},
           {"lot", h.lot},
           {"started_at", h.started_at},
           {"program", h.program}};
  out["findings"] = Json::array();
  for (const auto& f : j.findings)
    out["findings"].push_back({{"kind", f.kind},
                               {"part", f.part},
                               {"text", f.text},
                               {"pins", f.pins},
                               {"evidence", f.evidence},
                               {"next", f.next}});
  out["results"] = Json::array();
  for (const auto& r : j.results) out["results"].push_back(result_json(r));
  out["lever"] = Json::array();
  for (const auto& row : j.lever)
    out["lever"].push_back({{"position", row.position},
                            {"contacts", row.contacts},
                            {"expected", std::string(row.expected.begin(), row.expected.end())},
                            {"seen", std::string(row.seen.begin(), row.seen.end())}});
  out["coils"] = Json::object();
  for (const auto& trace : j.traces) out["coils"][trace.coil] = figures_json(trace.figures);
  out["not_tested"] = j.not_tested;
  out["cautions"] = j.cautions;
  return dump(out);
}

std::string coil_json(const waveform::CoilFigures& figures) { return dump(figures_json(figures)); }

}  // namespace pinproof::report
