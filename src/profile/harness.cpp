#include "profile/harness.h"

#include <algorithm>

#include "quantity/document.h"
#include "quantity/file.h"

namespace pinproof::profile {
namespace {

constexpr std::size_t kLargest = std::size_t{4} << 20;

HarnessWire wire_in(Place place, const Profile& pack, const Harness& so_far) {
  HarnessWire out{place.text("controller"), place.text("pack"), place.number("max_ohm", {1e-3, 10}),
                  place.optional_text("colour")};
  if (!pack.is_pin(out.pack))
    place.refuse("pack", "\"" + out.pack + "\" is not a pin of " + pack.name);
  if (out.controller.empty() || pack.is_pin(out.controller) || out.controller == kCase)
    place.refuse("controller", "\"" + out.controller +
                                   "\" is empty or also a name on the pack: its pins need names of "
                                   "their own");
  for (const HarnessWire& other : so_far.wires)
    if (other.controller == out.controller || other.pack == out.pack)
      place.refuse("a wire to \"" + out.pack + "\" or from \"" + out.controller +
                   "\" stands twice");
  place.done();
  return out;
}

Part wire(std::string name, const std::string& a, const std::string& b, double max_ohm, bool mate) {
  Part out;
  out.name = std::move(name);
  out.between[0] = a, out.between[1] = b;
  out.limits = Wire{max_ohm};
  out.mate = mate;
  return out;
}

}  // namespace

std::string plug_name(const std::string& pack_pin) { return "plug " + pack_pin; }

Harness load_harness(const std::string& file, const Profile& pack) {
  const Document document = Document::parse(read_file(file, kLargest), file);
  Place root = document.root();
  expect_schema(root, "pinproof/harness/1");
  Harness out;
  out.name = root.text("name");
  out.mate_max_ohm = root.optional_number("plugged_contact_max_ohm", {1e-3, 1}).value_or(0.03);
  for (const Place& place : root.at("wires").items())
    out.wires.push_back(wire_in(place, pack, out));
  if (out.wires.empty()) root.refuse("wires", "at least one wire is wanted");
  if (const auto sources = root.optional_at("sources"))
    for (Place place : sources->items()) {
      out.sources.push_back({place.text("of"), place.text("text")});
      place.done();
    }
  root.done();
  return out;
}

Profile joined(const Profile& pack, const Harness& harness) {
  Profile out = pack;
  out.name += " with harness " + harness.name;
  auto& pins = out.connector.pins;
  std::vector<Pin> controller, plug;
  for (const HarnessWire& one : harness.wires) {
    controller.push_back({one.controller, "controller's end", one.colour});
    plug.push_back({plug_name(one.pack), "plug of the harness", one.colour});
    out.parts.push_back(
        wire("wire " + one.controller, one.controller, plug_name(one.pack), one.max_ohm, false));
    out.parts.push_back(wire("plugged contact " + one.pack, plug_name(one.pack), one.pack,
                             harness.mate_max_ohm, true));
  }
  pins.insert(pins.begin(), plug.begin(), plug.end());
  pins.insert(pins.begin(), controller.begin(), controller.end());
  out.harness_pins = controller.size();
  return out;
}

Side side_of(const Profile& profile, const std::string& terminal) {
  const auto& pins = profile.connector.pins;
  const auto it = std::find_if(pins.begin(), pins.end(),
                               [&](const Pin& pin) { return pin.number == terminal; });
  const auto at = static_cast<std::size_t>(it - pins.begin());
  if (it == pins.end() || at >= 2 * profile.harness_pins) return Side::pack;
  return at < profile.harness_pins ? Side::controller : Side::plug;
}

}  // namespace pinproof::profile
