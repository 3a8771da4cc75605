#include <algorithm>

#include "profile/load_steps.h"
#include "quantity/error.h"

namespace pinproof::profile {
namespace {

// "1" open, "0" closed, "x" any: one character a line.
std::vector<Bit> load_code(const Place& place, std::size_t lines) {
  const std::string text = place.text();
  if (text.size() != lines)
    place.refuse("found \"" + text + "\"; one character for each of the " + std::to_string(lines) +
                 " lines is wanted");
  std::vector<Bit> code;
  for (const char c : text) {
    if (c != '0' && c != '1' && c != 'x')
      place.refuse("found \"" + text + "\"; allowed are 1 (open), 0 (closed) and x (any)");
    code.push_back(c == '1' ? Bit::open : c == '0' ? Bit::closed : Bit::any);
  }
  return code;
}

LeverPosition load_position(Place place, std::size_t lines) {
  LeverPosition out;
  out.name = place.text("name");
  out.code = load_code(place.at("code"), lines);
  out.start_permitted = place.optional_boolean("start_permitted", false);
  out.reverse = place.optional_boolean("reverse", false);
  place.done();
  return out;
}

LeverVariant load_variant(Place place, const Lever& lever) {
  LeverVariant out{place.text("name"), {}};
  for (const Place& code : place.at("codes").items())
    out.codes.push_back(load_code(code, lever.lines.size()));
  if (out.codes.size() != lever.positions.size())
    place.refuse("codes", "one for each of the " + std::to_string(lever.positions.size()) +
                              " positions is wanted");
  place.done();
  return out;
}

LineInput load_input(Place place) {
  LineInput out{place.number("supply_V", {1, 60}), place.number("pull_ohm", {10, 1e6}),
                place.number("low_V", {0.01, 60}), place.number("high_V", {0.01, 60})};
  if (!(out.low_V < out.high_V && out.high_V < out.supply_V))
    place.refuse("low_V < high_V < supply_V is wanted");
  place.done();
  return out;
}

bool has(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

void expect_contact(const Place& place, const Profile& profile, const std::string& name) {
  const Part* part = profile.find_part(name);
  if (!part || part->kind() != PartKind::contact)
    place.refuse("\"" + name + "\" is not a part of kind contact");
}

void expect_part(const Place& place, const Profile& profile, const std::string& name,
                 PartKind kind) {
  const Part* part = profile.find_part(name);
  if (!part || part->kind() != kind)
    place.refuse("\"" + name + "\" is not a part of kind " + std::string(name_of(kind)));
}

std::vector<std::string> elements_of(const Profile& profile) {
  std::vector<std::string> out;
  for (const Part& part : profile.parts)
    if (part.pressure_switch() && !has(out, part.pressure_switch()->element))
      out.push_back(part.pressure_switch()->element);
  return out;
}

}  // namespace

Lever load_lever(Place place) {
  Lever lever;
  lever.lines = place.optional_texts("lines");
  if (lever.lines.empty() || lever.lines.size() > 16)
    place.refuse("lines", "1 to 16 contact names are wanted");
  lever.start_permit = place.optional_text("start_permit");
  lever.reverse = place.optional_text("reverse");
  for (const Place& item : place.at("positions").items()) {
    lever.positions.push_back(load_position(item, lever.lines.size()));
    const auto& positions = lever.positions;
    const auto same = [&](const LeverPosition& p) { return p.name == positions.back().name; };
    if (std::count_if(positions.begin(), positions.end(), same) > 1)
      item.refuse("name", "position \"" + positions.back().name + "\" stands twice");
  }
  if (lever.positions.size() < 2) place.refuse("positions", "two positions or more are wanted");
  if (const auto between = place.optional_at("between")) {
    for (const Place& item : between->items())
      lever.between.push_back(load_code(item, lever.lines.size()));
    if (lever.between.size() + 1 != lever.positions.size())
      between->refuse("one code for each gap between neighbouring positions is wanted: " +
                      std::to_string(lever.positions.size() - 1));
  }
  if (const auto variants = place.optional_at("variants"))
    for (const Place& item : variants->items()) lever.variants.push_back(load_variant(item, lever));
  if (const auto input = place.optional_at("input")) lever.input = load_input(*input);
  place.done();
  return lever;
}

Gear load_gear(Place place) {
  Gear gear;
  gear.name = place.text("name");
  gear.lever = place.optional_text("lever");
  gear.energised = place.optional_texts("energised");
  gear.applied = place.optional_texts("applied");
  gear.closed_switches = place.optional_texts("closed_switches");
  place.done();
  return gear;
}

void check_lever(const Place& place, const Profile& profile) {
  if (!profile.lever) return;
  const Lever& lever = *profile.lever;
  for (const std::string& line : lever.lines) expect_contact(place, profile, line);
  const std::string& permit = lever.start_permit;
  if (!permit.empty()) {
    expect_contact(place, profile, permit);
    const auto& lines = lever.lines;
    // Its table is start_permitted, the lines' is the code: one contact cannot follow both.
    if (std::find(lines.begin(), lines.end(), permit) != lines.end())
      place.refuse("start_permit", "\"" + permit +
                                       "\" is one of the lines already: leave it out, "
                                       "its code says where it closes");
  }
  if (!lever.reverse.empty()) expect_contact(place, profile, lever.reverse);
}

void check_gears(const std::vector<Place>& places, const Profile& profile) {
  const auto elements = elements_of(profile);
  for (std::size_t i = 0; i < profile.gears.size(); ++i) {
    const Gear& gear = profile.gears[i];
    for (const auto& coil : gear.energised) expect_part(places[i], profile, coil, PartKind::coil);
    for (const auto& sw : gear.closed_switches)
      expect_part(places[i], profile, sw, PartKind::switch_);
    if (gear.lever.empty()) continue;
    const auto named = [&](const LeverPosition& p) { return p.name == gear.lever; };
    if (!profile.lever ||
        std::none_of(profile.lever->positions.begin(), profile.lever->positions.end(), named))
      places[i].refuse("lever", "\"" + gear.lever + "\" is not a lever position of this profile");
  }
}

}  // namespace pinproof::profile
