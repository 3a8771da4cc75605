// A harness: the wires between the controller's connector and the plug that goes onto the pack.
#pragma once

#include <string>
#include <vector>

#include "profile/profile.h"

namespace pinproof::profile {

struct HarnessWire {
  std::string controller;  ///< pin of the controller's connector: "C4"
  std::string pack;        ///< pin of the pack that it leads to
  double max_ohm = 0;
  std::string colour;
};

/// Files: "pinproof/harness/1".
struct Harness {
  std::string name;
  std::vector<HarnessWire> wires;
  double mate_max_ohm = 0.03;  ///< of a plugged contact
  std::vector<Source> sources;
};

/// The plug's contact for a pin of the pack: a terminal while the harness is unplugged.
std::string plug_name(const std::string& pack_pin);

/// Throws Error(usage): a pin that stands twice or that the pack does not have.
Harness load_harness(const std::string& file, const Profile& pack);

/// Pack and harness as one: the controller's pins, the plug's and the pack's are terminals; wires
/// and plugged contacts are parts ("wire C4", "plugged contact 4"; see Part::mate).
Profile joined(const Profile& pack, const Harness& harness);

/// On which side of the connector a terminal is.
enum class Side { controller, plug, pack };
Side side_of(const Profile& profile, const std::string& terminal);

}  // namespace pinproof::profile
