// What several classes of faults share.
#pragma once

#include <string>
#include <vector>

#include "diagnosis/suspect.h"

namespace pinproof::diagnosis {

/// From a solid bridge to a leak that insulation limits still reject.
inline constexpr Interval kBridgeSizes{0.01, 1e7};
/// Above this a bridge is called a leak.
inline constexpr double kLeak_ohm = 100;

/// The nearest terminals of a part's ends.
std::vector<std::string> nodes_of(const network::Model& model, const profile::Part& part);

/// ", or pin 2 or its wire" for pins that serve this part alone: from outside an open part and an
/// open pin are one.
std::string or_its_pins(const network::Model& model, const profile::Part& part);

/// Parts with an end at this node.
std::vector<const profile::Part*> parts_at(const profile::Profile& profile,
                                           const std::string& node);

/// "2 and 9", with the case as "the case".
std::string pins_text(const std::vector<std::string>& nodes);

}  // namespace pinproof::diagnosis
