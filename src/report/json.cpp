#include <cmath>
#include <nlohmann/json.hpp>

#include "quantity/text.h"
#include "report/coil_figures_json.h"
#include "report/formats.h"
#include "report/number_json.h"

namespace pinproof::report {
namespace {

using Json = nlohmann::ordered_json;

Json result_json(const inspection::Result& r) {
  Json out{{"id", findings::text_of(r.id())},
           {"check", r.check},
           {"subject", r.subject},
           {"title", r.title},
           {"outcome", name_of(r.outcome)},
           {"required", r.required}};
  if (r.value) {
    out["value"] = number_json(r.value->value);
    out["u"] = number_json(r.value->u);
  }
  out["unit"] = file_name(r.unit);
  if (r.limit) {
    out["low"] = number_json(r.limit->low);
    out["high"] = number_json(r.limit->high);
    out["guard_band"] = number_json(r.guard_band);
  }
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

}  // namespace pinproof::report
