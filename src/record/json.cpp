#include "record/json.h"

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "quantity/characters.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/text.h"
#include "record/words_0_1_0.h"

namespace pinproof::record {
namespace {

using Json = nlohmann::ordered_json;
constexpr Interval kAny{std::numeric_limits<double>::lowest(), std::numeric_limits<double>::max()};
// Complaints and reasons name names.
constexpr std::size_t kLongestWords = std::size_t{64} << 10;
constexpr Interval kNotNegative{0, std::numeric_limits<double>::max()};

// A key that is not a number is left out: JSON has no NaN.
void put(Json& out, const char* key, double value) {
  if (std::isfinite(value)) out[key] = value;
}

// Names come from keyboards and scanners: bytes that are no text are replaced, not refused.
std::string text_of(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Json key_json(const Key& key) {
  return {{"check", key.check}, {"subject", key.subject}, {"role", key.role}};
}

Json condition_json(const Condition& c) {
  Json out{{"lever", c.lever}, {"applied", c.applied}, {"pressure_Pa", c.pressure_Pa}};
  if (c.plugged) out["plugged"] = true;
  if (c.hot) out["hot"] = true;
  return out;
}

struct ToJson {
  Json operator()(const Reading& r) const {
    Json out{{"event", "read"},
             {"key", key_json(r.key)},
             {"from", r.from},
             {"to", r.to},
             {"condition", condition_json(r.condition)},
             {"unit", file_name(r.measured.unit())}};
    const Numbers& n = r.measured.numbers();
    put(out, "value", n.value);
    put(out, "u", n.u);
    put(out, "u_random", n.u_random);
    if (r.overload) out["overload"] = true;
    out["range_end"] = n.range_end, out["function"] = r.function, out["instrument"] = r.instrument;
    out["lead_null"] = n.lead_null, out["repeats"] = r.repeats, out["spread"] = n.spread,
    out["at_s"] = r.at_s;
    return out;
  }
  Json operator()(const PulseCapture& c) const {
    return {{"event", "captured"},
            {"key", key_json(c.key)},
            {"coils", c.coils},
            {"condition", condition_json(c.condition)},
            {"set_V", c.set_V},
            {"limit_A", c.limit_A},
            {"pulse_s", c.pulse_s},
            {"start_s", c.start_s},
            {"interval_s", c.interval_s},
            {"probe", c.probe},
            {"voltage_gain_u", c.voltage_gain_u},
            {"voltage_offset_u", c.voltage_offset_u},
            {"current_gain_u", c.current_gain_u},
            {"current_offset_u", c.current_offset_u},
            {"clip_A", c.clip_A},
            {"clip_V", c.clip_V},
            {"instrument", c.instrument},
            {"at_s", c.at_s},
            {"probe_V", c.probe_V},
            {"current_A", c.current_A},
            {"supply_V", c.supply_V}};
  }
  Json operator()(const Skipped& s) const {
    Json out{{"event", "skipped"}, {"key", key_json(s.key)}, {"reason", s.reason}};
    if (s.why != findings::SkipReason::other && !s.inferred) out["why"] = findings::name_of(s.why);
    return out;
  }
  Json operator()(const BenchTrouble& b) const {
    return {{"event", "bench-fault"}, {"key", key_json(b.key)}, {"what", b.what}};
  }
  Json operator()(const Finished& f) const {
    Json out{{"event", "finished"}, {"complete", f.complete()}, {"why", f.why}};
    if (!f.complete() && !f.inferred) out["ending"] = findings::name_of(f.ending);
    return out;
  }
  Json operator()(const Resumed& r) const { return {{"event", "resumed"}, {"at", r.at}}; }
};

Json header_json(const Header& h) {
  Json out;
  if (!h.id.empty()) out["id"] = h.id;
  out.update({{"profile_name", h.profile_name},
              {"profile_hash", h.profile_hash},
              {"bench_name", h.bench_name},
              {"serial", h.serial},
              {"lot", h.lot},
              {"note", h.note},
              {"program", h.program},
              {"started_at", h.started_at},
              {"full", h.full},
              {"thermometer_u_K", h.thermometer_u}});
  if (h.bench_clamp_V > 0) out["bench_clamp_V"] = h.bench_clamp_V;
  if (!h.bench_hash.empty()) out["bench_hash"] = h.bench_hash;
  if (h.reference)
    out["reference_ohm"] = h.reference->value, out["reference_u_ohm"] = h.reference->u;
  if (h.high_reference)
    out["high_reference_ohm"] = h.high_reference->value,
    out["high_reference_u_ohm"] = h.high_reference->u;
  return out;
}

std::vector<std::string> texts(Place& place, std::string_view key) {
  std::vector<std::string> out;
  for (const Place& item : place.at(key).items()) out.push_back(item.text());
  return out;
}

Key read_key(Place& event) {
  Place place = event.at("key");
  Key out{place.text("check"), place.text("subject"), place.text("role")};
  place.done();
  return out;
}

Condition read_condition(Place& event) {
  Place place = event.at("condition");
  Condition out{place.text("lever"), texts(place, "applied"),
                place.number("pressure_Pa", kNotNegative), place.optional_boolean("plugged", false),
                place.optional_boolean("hot", false)};
  place.done();
  return out;
}

Reading read_reading(Place& e) {
  Reading r;
  r.key = read_key(e), r.from = texts(e, "from"), r.to = texts(e, "to"),
  r.condition = read_condition(e);
  const Place unit = e.at("unit");
  const auto known = unit_from_file_name(unit.text());
  if (!known) unit.refuse("\"" + unit.text() + "\" is not a unit");
  r.overload = e.optional_boolean("overload", false);
  const double nan = std::nan("");
  Numbers n;
  n.value = e.optional_number("value", kAny).value_or(nan);
  n.u = e.optional_number("u", kNotNegative).value_or(nan);
  n.u_random = e.optional_number("u_random", kNotNegative).value_or(nan);
  if (!r.overload && !std::isfinite(n.value))
    e.refuse("value", "missing; a reading has a value or \"overload\": true");
  n.range_end = e.number("range_end", kNotNegative);
  r.function = e.text("function");
  r.instrument = e.text("instrument");
  n.lead_null = e.number("lead_null", kAny);
  r.repeats = static_cast<int>(e.number("repeats", {1, 1e6}));
  n.spread = e.number("spread", kNotNegative);
  r.measured = {*known, n};
  r.at_s = e.number("at_s", kNotNegative);
  return r;
}

PulseCapture read_capture(Place& e) {
  PulseCapture c;
  c.key = read_key(e), c.coils = texts(e, "coils"), c.condition = read_condition(e);
  c.set_V = e.number("set_V", kAny), c.limit_A = e.number("limit_A", kAny),
  c.pulse_s = e.number("pulse_s", kNotNegative);
  c.start_s = e.number("start_s", kAny), c.interval_s = e.number("interval_s", {1e-9, 10});
  c.probe = texts(e, "probe");
  c.voltage_gain_u = e.number("voltage_gain_u", kNotNegative),
  c.voltage_offset_u = e.number("voltage_offset_u", kNotNegative);
  c.current_gain_u = e.number("current_gain_u", kNotNegative),
  c.current_offset_u = e.number("current_offset_u", kNotNegative);
  c.clip_A = e.number("clip_A", kNotNegative), c.clip_V = e.number("clip_V", kNotNegative);
  c.instrument = e.text("instrument"), c.at_s = e.number("at_s", kNotNegative);
  c.probe_V = e.at("probe_V").numbers(), c.current_A = e.at("current_A").numbers(),
  c.supply_V = e.at("supply_V").numbers();
  if (c.current_A.size() != c.probe_V.size() || c.supply_V.size() != c.probe_V.size())
    e.refuse("the waveforms differ in length");
  return c;
}

Skipped read_skipped(Place& e) {
  Skipped out{read_key(e), e.long_text("reason", kLongestWords)};
  const std::string why = e.optional_text("why");
  const auto named = findings::skip_reason_named(why);
  if (!why.empty() && !named) e.refuse("why", "no reason of this name is known");
  out.inferred = why.empty();
  out.why = named ? *named : skip_reason_of_0_1_0(out.reason);
  return out;
}

Finished read_finished(Place& e) {
  const bool complete = e.at("complete").boolean();
  Finished out{findings::Ending::complete, e.long_text("why", kLongestWords)};
  const std::string ending = e.optional_text("ending");
  const auto named = findings::ending_named(ending);
  if (!ending.empty() && (!named || (*named == findings::Ending::complete) != complete))
    e.refuse("ending", "no ending of this name, or not one that goes with \"complete\"");
  out.inferred = ending.empty();
  if (!complete) out.ending = named ? *named : ending_of_0_1_0(out.why);
  return out;
}

Event read_event(Place e) {
  Event out;
  switch (e.word("event", {"read", "captured", "skipped", "bench-fault", "finished", "resumed"})) {
    case 0:
      out = read_reading(e);
      break;
    case 1:
      out = read_capture(e);
      break;
    case 2:
      out = read_skipped(e);
      break;
    case 3:
      out = BenchTrouble{read_key(e), e.long_text("what", kLongestWords)};
      break;
    case 4:
      out = read_finished(e);
      break;
    default:
      out = Resumed{e.text("at")};
  }
  e.done();
  return out;
}

Header read_header(Place h) {
  Header out{h.optional_text("id"),
             h.text("profile_name"),
             h.text("profile_hash"),
             h.text("bench_name"),
             h.long_text("serial", kLongestName),
             h.long_text("lot", kLongestName),
             h.long_text("note", kLongestName),
             h.text("program"),
             h.text("started_at"),
             h.at("full").boolean(),
             {},
             {},
             0,
             h.optional_number("bench_clamp_V", kNotNegative).value_or(0),
             h.optional_text("bench_hash")};
  if (const auto ohm = h.optional_number("reference_ohm", kNotNegative))
    out.reference = Estimate{*ohm, h.number("reference_u_ohm", kNotNegative)};
  if (const auto ohm = h.optional_number("high_reference_ohm", kNotNegative))
    out.high_reference = Estimate{*ohm, h.number("high_reference_u_ohm", kNotNegative)};
  out.thermometer_u = h.number("thermometer_u_K", kNotNegative);
  h.done();
  return out;
}

}  // namespace

std::string event_to_json(const Event& event) { return text_of(std::visit(ToJson{}, event)); }

Event event_from_json(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  return read_event(document.root());
}

std::string header_to_json(const Header& header) { return text_of(header_json(header)); }

Header header_from_json(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  return read_header(document.root());
}

std::string to_json(const Record& record) {
  Json out{{"schema", "pinproof/record/1"},
           {"header", header_json(record.header)},
           {"events", Json::array()}};
  for (const Event& event : record.events) out["events"].push_back(std::visit(ToJson{}, event));
  return text_of(out);
}

Record from_json(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/record/1");
  Record record;
  Header& h = record.header = read_header(root.at("header"));
  // JSON can write NUL, which servers refuse in a text.
  for (std::string* name : {&h.serial, &h.lot, &h.note}) *name = clean_text(*name);
  for (const Place& item : root.at("events").items()) record.events.push_back(read_event(item));
  root.done();
  return record;
}

}  // namespace pinproof::record
