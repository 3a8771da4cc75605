#include "record/readings.h"

#include <cmath>
#include <map>

#include "quantity/document.h"

namespace pinproof::record {
namespace {

constexpr Interval kOhm{0, 1e12};
constexpr double kUsual_u = 0.005;  // of the reading, where nobody said how well the meter reads
constexpr double kUsual_u_ohm = 0.05;

// "3" or ["1", "2"].
std::vector<std::string> terminals(Place& place, std::string_view key) {
  Place at = place.at(key);
  if (at.is_text()) return {at.text()};
  std::vector<std::string> out;
  for (const Place& one : at.items()) out.push_back(one.text());
  if (out.empty()) place.refuse(key, "a terminal, or a list of those that are tied together");
  return out;
}

Condition condition_in(Place& place) {
  Condition out;
  auto at = place.optional_at("condition");
  if (!at) return out;
  out.lever = at->optional_text("lever");
  out.applied = at->optional_texts("applied");
  out.plugged = at->optional_boolean("plugged", false);
  out.hot = at->optional_boolean("hot", false);
  at->done();
  return out;
}

void read_value(Place& place, WrittenReading& out) {
  const bool overload = place.optional_boolean("overload", false);
  const auto ohm = place.optional_number("ohm", kOhm);
  out.share = place.optional_number("share", {-0.1, 1.1});
  if (auto held = place.optional_interval("held_ohm", kOhm)) out.held = held;
  if (int(overload) + int(ohm.has_value()) + int(out.share.has_value()) +
          int(out.held.has_value()) !=
      1)
    place.refuse("one of \"ohm\", \"share\", \"held_ohm\" or \"overload\": true is wanted");
  out.ohm = overload ? INFINITY : ohm.value_or(0);
  out.range_ohm = place.optional_number("range_ohm", {1, 1e12}).value_or(INFINITY);
  const double usual = std::hypot(kUsual_u * out.ohm, kUsual_u_ohm);
  out.u_ohm = place.optional_number("u_ohm", {1e-6, 1e12}).value_or(overload ? 0 : usual);
}

WrittenReading reading_in(Place place) {
  WrittenReading out;
  out.pointer = place.pointer();
  out.from = terminals(place, "from"), out.to = terminals(place, "to");
  out.condition = condition_in(place);
  read_value(place, out);
  if (place.optional_at("drive")) out.drive = terminals(place, "drive");
  if (!out.drive.empty() && out.drive.size() != 2)
    place.refuse("drive", "the two terminals between which the current flowed");
  if (out.share && out.drive.empty())
    place.refuse("share", "of which voltage? \"drive\" is missing");
  out.at_s = place.optional_number("at_s", {0, 1e9}).value_or(0);
  place.done();
  return out;
}

}  // namespace

WrittenReadings readings_from_json(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/readings/1");
  WrittenReadings out;
  root.optional_text("note");
  if (const auto celsius = root.optional_number("celsius", {-60, 200}))
    out.celsius = Estimate{*celsius, root.optional_number("celsius_u", {0.01, 50}).value_or(2)};
  for (const Place& place : root.at("readings").items()) out.readings.push_back(reading_in(place));
  root.done();
  return out;
}

WrittenReadings readings_of(const Record& record) {
  WrittenReadings out;
  std::map<Key, std::size_t> skipped;  // where last: what was read before is withdrawn
  for (std::size_t k = 0; k < record.events.size(); ++k)
    if (const auto* skip = std::get_if<Skipped>(&record.events[k])) skipped[skip->key] = k;
  for (std::size_t k = 0; k < record.events.size(); ++k) {
    const std::string pointer = "/events/" + std::to_string(k);
    const auto* reading = std::get_if<Reading>(&record.events[k]);
    if (!reading || reading->measured.unit() != Unit::ohm || reading->from.empty() ||
        reading->to.empty() || reading->key.check == "bench-check")
      continue;
    const auto skip = skipped.find(reading->key);
    if (skip != skipped.end() && skip->second > k) continue;
    WrittenReading one;
    one.pointer = pointer;
    one.from = reading->from, one.to = reading->to, one.condition = reading->condition;
    const Numbers& ohms = reading->measured.in(Unit::ohm);
    one.ohm = reading->ohm_or_open();
    one.u_ohm = reading->overload ? 0 : ohms.u;
    one.range_ohm = reading->overload ? ohms.range_end : INFINITY;
    one.at_s = reading->at_s;
    out.readings.push_back(std::move(one));
  }
  return out;
}

}  // namespace pinproof::record
