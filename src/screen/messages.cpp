#include "screen/messages.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "inspection/checks/check.h"
#include "inspection/checks/evidence.h"
#include "quantity/text.h"

namespace pinproof::screen {
namespace {

using Json = nlohmann::ordered_json;

// Invalid UTF-8 in a name must not end the telling.
std::string line(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void add_number(Json& out, const char* key, double value) {
  if (std::isfinite(value))
    out[key] = value;
  else
    out[key] = nullptr;
}

Json result_json(const inspection::Result& r) {
  Json out{{"id", findings::text_of(r.id())},
           {"check", r.check},
           {"heading", heading_of(r.check)},
           {"subject", r.subject},
           {"title", r.title},
           {"outcome", name_of(r.outcome)},
           {"required", r.required},
           {"text", r.text},
           {"pins", r.pins}};
  if (!r.value || !r.limit) return out;
  add_number(out, "value", r.value->value);
  add_number(out, "u2", 2 * r.value->u);
  add_number(out, "low", r.limit->low);
  add_number(out, "high", r.limit->high);
  add_number(out, "guard", r.guard_band);
  out["value_text"] = format_estimate(*r.value, r.unit);
  const auto end = [&](double v) {
    return std::isfinite(v) ? format_si(v, r.unit, 4) : std::string();
  };
  out["low_text"] = end(r.limit->low);
  out["high_text"] = end(r.limit->high);
  return out;
}

Json finding_object(const inspection::Finding& f) {
  return {{"kind", f.kind}, {"part", f.part},         {"text", f.text},
          {"pins", f.pins}, {"evidence", f.evidence}, {"next", f.next}};
}

Json headed(const record::Key& key) {
  return {{"check", key.check},
          {"heading", heading_of(key.check)},
          {"subject", key.subject},
          {"role", key.role}};
}

// Four digits are more than a plot of 600 points shows.
double rounded(double v) {
  if (!std::isfinite(v) || v == 0) return 0;
  const double scale = std::pow(10.0, 3 - std::floor(std::log10(std::abs(v))));
  return std::round(v * scale) / scale;
}

// Places of the samples that are drawn: of each group those where the current is least and most.
std::vector<std::size_t> places(const std::vector<double>& y) {
  std::vector<std::size_t> out;
  const std::size_t group = std::max<std::size_t>(1, 2 * y.size() / kPoints + 1);
  for (std::size_t k = 0; k < y.size(); k += group) {
    const auto from = y.begin() + static_cast<std::ptrdiff_t>(k);
    const auto to = y.begin() + static_cast<std::ptrdiff_t>(std::min(y.size(), k + group));
    const auto [low, high] = std::minmax_element(from, to);
    const auto a = static_cast<std::size_t>(std::min(low, high) - y.begin());
    const auto b = static_cast<std::size_t>(std::max(low, high) - y.begin());
    out.push_back(a);
    if (b != a) out.push_back(b);
  }
  return out;
}

Json capture_object(const record::PulseCapture& c) {
  Json out = headed(c.key);
  out["coils"] = c.coils;
  if (c.probe.size() == 2) out["from"] = Json{c.probe[0]}, out["to"] = Json{c.probe[1]};
  Json t = Json::array(), i = Json::array(), v = Json::array();
  for (const std::size_t k : places(c.current_A)) {
    t.push_back(rounded(1e3 * (c.start_s + static_cast<double>(k) * c.interval_s)));
    i.push_back(rounded(c.current_A[k]));
    v.push_back(k < c.probe_V.size() ? rounded(c.probe_V[k]) : 0.0);
  }
  out["t_ms"] = std::move(t), out["current_A"] = std::move(i), out["voltage_V"] = std::move(v);
  return out;
}

struct Tell {
  std::optional<Told> operator()(const record::Reading& r) const {
    Json out = headed(r.key);
    out["from"] = r.from, out["to"] = r.to;
    out["state"] = text_of(r.condition), out["text"] = inspection::text_of(r);
    add_number(out, "at_s", r.at_s);
    return Told{"reading", line(out)};
  }
  std::optional<Told> operator()(const record::PulseCapture& c) const {
    return Told{"capture", line(capture_object(c))};
  }
  std::optional<Told> operator()(const record::Skipped& s) const {
    Json out = headed(s.key);
    out["reason"] = s.reason;
    return Told{"skipped", line(out)};
  }
  std::optional<Told> operator()(const record::BenchTrouble& t) const {
    return Told{"trouble", line({{"what", t.what}})};
  }
  std::optional<Told> operator()(const record::Finished& f) const {
    return Told{"finished", line({{"complete", f.complete()}, {"why", f.why}})};
  }
  std::optional<Told> operator()(const record::Resumed& r) const {
    return Told{"said", line({{"text", "Going on with what was measured before, at " + r.at}})};
  }
};

Json end_json(const std::vector<std::string>& nodes, const std::string& name) {
  if (nodes.empty()) return nullptr;
  return {{"node", nodes.front()}, {"nodes", nodes}, {"name", name}};
}

}  // namespace

std::string heading_of(const std::string& check) {
  for (const auto* kind : inspection::check_kinds())
    if (kind->name == check) return std::string(kind->heading);
  return check;
}

std::string run_json(const RunTold& told) {
  const Wish& wish = *told.wish;
  return line({{"run", told.run},
               {"work", wish.work},
               {"serial", wish.serial},
               {"lot", told.lot},
               {"note", told.note},
               {"profile", wish.profile},
               {"profile_name", told.profile_name},
               {"bench", told.bench_name},
               {"level", told.level},
               {"by_hand", told.by_hand},
               {"started_at", told.started_at},
               {"codes", wish.codes}});
}

std::optional<Told> event_json(const record::Event& event) { return std::visit(Tell{}, event); }

std::string results_json(const std::vector<inspection::Result>& results) {
  Json list = Json::array();
  for (const auto& r : results) list.push_back(result_json(r));
  return line({{"results", std::move(list)}});
}

std::string finding_json(const inspection::Finding& finding) {
  return line(finding_object(finding));
}

std::string marks_json(const inspection::CoilTrace& trace) {
  const auto& f = trace.figures;
  Json marks = Json::array();
  const auto mark = [&](const char* name, const std::optional<waveform::CurrentEvent>& point) {
    if (point)
      marks.push_back({{"name", name},
                       {"at_ms", 1e3 * (point->at_s + f.onset_s)},
                       {"current_A", point->current_A}});
  };
  mark("plunger moves", f.current_peak);
  mark("seated", f.pull_in);
  std::string text = "R " + format_estimate(f.resistance_ohm, Unit::ohm) + ", L " +
                     format_estimate(f.inductance_H, Unit::henry);
  if (f.pull_in)
    text += ", pull-in " + format_estimate({f.pull_in->at_s, f.pull_in->u_s}, Unit::second);
  if (f.release_s.usable()) text += ", release " + format_estimate(f.release_s, Unit::second);
  if (f.status != waveform::Status::ok) text = std::string(text_of(f.status));
  return line({{"coil", trace.coil}, {"marks", std::move(marks)}, {"text", text}});
}

std::string lever_table_json(const std::vector<inspection::LeverRow>& rows,
                             const std::string& here) {
  Json out{{"contacts", rows.empty() ? std::vector<std::string>{} : rows.front().contacts},
           {"here", here}};
  Json list = Json::array();
  for (const auto& row : rows)
    list.push_back({{"position", row.position},
                    {"expected", std::string(row.expected.begin(), row.expected.end())},
                    {"seen", std::string(row.seen.begin(), row.seen.end())}});
  out["rows"] = std::move(list);
  return line(out);
}

std::string verdict_json(const VerdictTold& told) {
  const auto& j = *told.judgement;
  std::size_t passed = 0, of = 0;
  for (const auto& r : j.results)
    if (r.required) ++of, passed += r.outcome == inspection::Outcome::pass;
  Json findings = Json::array();
  for (const auto& f : j.findings) findings.push_back(finding_object(f));
  const std::string id = told.kept ? told.header->id : "";
  return line({{"verdict", name_of(j.verdict)},
               {"level", name_of(j.level)},
               {"why", j.why},
               {"serial", told.header->serial},
               {"lot", told.header->lot},
               {"passed", passed},
               {"of", of},
               {"findings", std::move(findings)},
               {"not_tested", j.not_tested},
               {"cautions", j.cautions},
               {"rule", j.rule},
               {"record", id},
               {"report", id.empty() ? "" : "/report/" + id},
               {"label", id.empty() ? "" : "/label/" + id}});
}

std::string progress_json(const ProgressTold& told) {
  Json out{{"done", told.done},
           {"of", told.of},
           {"heading", heading_of(told.check)},
           {"subject", told.subject}};
  if (told.left_s)
    out["left_s"] = std::round(*told.left_s);
  else
    out["left_s"] = nullptr;
  return line(out);
}

std::string ask_json(const AskTold& told) {
  Json out{{"n", told.n},           {"kind", told.kind},         {"title", told.title},
           {"text", told.text},     {"caution", told.caution},   {"expected", told.expected},
           {"all_of", told.all_of}, {"question", told.question}, {"actions", told.actions}};
  out["red"] = end_json(told.red, told.red_name);
  out["black"] = end_json(told.black, told.black_name);
  return line(out);
}

std::string live_json(const LiveTold& told) {
  Json out{{"ask", told.ask},       {"shown", told.shown}, {"state", told.state},
           {"steady", told.steady}, {"open", told.open},   {"result", nullptr}};
  if (told.result) out["result"] = result_json(*told.result);
  return line(out);
}

std::string sound_json(std::uint64_t n, const std::string& kind) {
  return line({{"n", n}, {"kind", kind}});
}

std::string text_json(const char* key, const std::string& text) { return line({{key, text}}); }

std::string finished_json(bool complete, const std::string& why) {
  return line({{"complete", complete}, {"why", why}});
}

std::string failed_json(const std::string& fault, const std::string& what) {
  return line({{"fault", fault}, {"what", what}});
}

std::string profile_json(const profile::Profile& profile) {
  Json pins = Json::array(), coils = Json::array();
  for (const auto& pin : profile.connector.pins)
    pins.push_back({{"number", pin.number}, {"signal", pin.signal}, {"colour", pin.colour}});
  for (const auto& part : profile.parts)
    if (part.coil()) coils.push_back(part.name);
  Json out{{"name", profile.name},
           {"pins", std::move(pins)},
           {"face", profile.connector.face},
           {"coils", std::move(coils)},
           {"lever", nullptr}};
  if (!profile.lever) return line(out);
  std::vector<std::string> contacts = profile.lever->lines, positions;
  for (const auto& name : {profile.lever->start_permit, profile.lever->reverse})
    if (!name.empty()) contacts.push_back(name);
  for (const auto& p : profile.lever->positions) positions.push_back(p.name);
  out["lever"] = {{"positions", positions}, {"contacts", contacts}};
  return line(out);
}

}  // namespace pinproof::screen
