#include "profile/load.h"

#include <algorithm>
#include <set>

#include "profile/load_steps.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/file.h"

namespace pinproof::profile {
namespace {

constexpr std::size_t kLargestFile = std::size_t{4} << 20;

void load_pins(Place& connector, Profile& profile) {
  std::set<std::string> seen;
  for (Place& item : connector.at("pins").items()) {
    const Pin pin{item.text("number"), item.text("signal"), item.optional_text("colour")};
    item.done();
    if (pin.number.empty() || pin.number == kCase || pin.number.size() > 8)
      item.refuse("number",
                  "found \"" + pin.number + "\"; 1 to 8 characters are wanted, and not \"case\"");
    if (!seen.insert(pin.number).second)
      item.refuse("number", "pin \"" + pin.number + "\" stands twice");
    profile.connector.pins.push_back(pin);
  }
  if (seen.size() < 2 || seen.size() > 200)
    connector.refuse("pins", "2 to 200 pins are wanted, found " + std::to_string(seen.size()));
}

void load_face(Place& connector, Profile& profile) {
  std::set<std::string> missing;
  for (const Pin& pin : profile.connector.pins) missing.insert(pin.number);
  const Place face = connector.at("face");
  for (const Place& row : face.items()) {
    std::vector<std::string> numbers;
    for (const Place& cell : row.items()) {
      numbers.push_back(cell.text());
      if (!numbers.back().empty() && missing.erase(numbers.back()) == 0)
        cell.refuse("\"" + numbers.back() + "\" is not a pin, or stands twice in the face");
    }
    profile.connector.face.push_back(std::move(numbers));
  }
  if (!missing.empty()) face.refuse("pin \"" + *missing.begin() + "\" is not in any row");
}

void load_nodes(Place& root, Profile& profile) {
  const auto place = root.optional_at("nodes");
  if (!place) return;
  for (const Place& item : place->items()) {
    const std::string node = item.text();
    const auto& known = profile.nodes;
    if (node.empty() || node == kCase || profile.is_pin(node) ||
        std::find(known.begin(), known.end(), node) != known.end())
      item.refuse(
          "\"" + node +
          "\" is empty, a pin, \"case\" or stands twice; an internal node needs a name of its own");
    profile.nodes.push_back(node);
  }
}

bool is_node(const Profile& profile, const std::string& node) {
  return node == kCase || profile.is_pin(node) ||
         std::find(profile.nodes.begin(), profile.nodes.end(), node) != profile.nodes.end();
}

void load_parts(Place& root, Profile& profile) {
  for (const Place& item : root.at("parts").items()) {
    Part part = load_part(item);
    for (const std::string& end : part.between)
      if (!is_node(profile, end))
        item.refuse("between", "part \"" + part.name + "\" ends at \"" + end +
                                   "\", which is not a pin, not \"case\" and not in \"nodes\"");
    if (part.between[0] == part.between[1])
      item.refuse("between",
                  "both ends of part \"" + part.name + "\" are on \"" + part.between[0] + "\"");
    if (part.name.empty() || profile.find_part(part.name))
      item.refuse("name", "part \"" + part.name + "\" stands twice or has no name");
    profile.parts.push_back(std::move(part));
  }
  if (profile.parts.empty()) root.refuse("parts", "at least one part is wanted");
}

void load_limits(Place& root, Profile& profile) {
  profile.drive =
      root.word("drive", {"low-side", "high-side"}) == 0 ? Drive::low_side : Drive::high_side;
  profile.supply_V = root.number("supply_V", {1, 60});
  profile.insulation_ohm = root.number("insulation_ohm", {1e3, 1e10});
  profile.open_ohm = root.number("open_ohm", {100, 1e9});
  const auto guard = root.optional_number("guard_factor", {0, 3});
  if (guard && *guard != 1.0 && *guard != 0.83)
    root.refuse("guard_factor",
                "allowed are 1 (2.3 % specific risk at a limit) and 0.83 (4.8 %, the 95 % rule)");
  profile.guard_factor = guard.value_or(1.0);
  profile.ground_pin = root.text("ground_pin");
  if (!profile.is_pin(profile.ground_pin))
    root.refuse("ground_pin", "\"" + profile.ground_pin + "\" is not a pin");
  if (const auto pressure = root.optional_interval("line_pressure_kPa", {100, 1e4}))
    profile.line_pressure_Pa = Interval{1e3 * pressure->low, 1e3 * pressure->high};
  if (auto load = root.optional_at("load_limits")) {
    profile.load = LoadLimits{load->number("feed_drop_V", {1e-3, 10}),
                              load->number("ground_rise_V", {1e-3, 10})};
    load->done();
  }
}

void load_tables(Place& root, Profile& profile) {
  if (const auto lever = root.optional_at("lever")) {
    profile.lever = load_lever(*lever);
    check_lever(*lever, profile);
  }
  for (const Part& part : profile.parts) {
    if (part.kind() != PartKind::contact) continue;
    const auto& lever = profile.lever;
    const bool moved = lever && (std::find(lever->lines.begin(), lever->lines.end(), part.name) !=
                                     lever->lines.end() ||
                                 lever->start_permit == part.name || lever->reverse == part.name);
    if (!moved)
      root.refuse("lever",
                  "contact \"" + part.name +
                      "\" is in no line, not start_permit and not reverse: nothing would test it");
  }
  if (const auto gears = root.optional_at("gears")) {
    const auto places = gears->items();
    for (const Place& item : places) profile.gears.push_back(load_gear(item));
    check_gears(places, profile);
  }
  if (const auto codes = root.optional_at("trouble_codes")) {
    for (Place& item : codes->items()) {
      profile.trouble_codes.push_back({item.text("code"), item.text("part"), item.text("kind")});
      item.done();
      if (!profile.find_part(profile.trouble_codes.back().part))
        item.refuse("part", "no such part");
    }
  }
}

void load_sources(Place& root, Profile& profile) {
  for (Place& item : root.at("sources").items()) {
    profile.sources.push_back({item.text("of"), item.text("text")});
    item.done();
  }
}

}  // namespace

Profile parse_profile(std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/profile/1");
  Profile profile;
  profile.hash = sha256_hex(json);
  profile.name = root.text("name");
  if (profile.name.empty()) root.refuse("name", "empty; a name is wanted");
  Place connector = root.at("connector");
  load_pins(connector, profile);
  load_face(connector, profile);
  connector.done();
  load_nodes(root, profile);
  load_parts(root, profile);
  load_limits(root, profile);
  load_tables(root, profile);
  load_sources(root, profile);
  root.done();
  return profile;
}

Profile load_profile(const std::string& path) {
  return parse_profile(read_file(path, kLargestFile), path);
}

}  // namespace pinproof::profile
