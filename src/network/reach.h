// Which terminals of the connector reach which part, what conducts in a given
// state, and between which bounds a good pack's contact reading must lie. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "profile/profile.h"

namespace pinproof::network {

/// The state a pack is put into: a lever position by index and the elements
/// under pressure.
struct PackState {
  std::optional<std::size_t> lever;
  std::vector<std::string> applied;
  friend bool operator==(const PackState&, const PackState&) = default;
};

/// The two terminals (pin or case) nearest to a part's ends, and the wires on the way.
struct Leads {
  std::string from;
  std::string to;
  std::vector<const profile::Part*> wires;
  double wires_max_ohm = 0;  ///< together, at most
};

/// nullopt when one end reaches no terminal by wires alone.
std::optional<Leads> leads_of(const profile::Profile& profile, const profile::Part& part);

/// Closed, open, or nullopt for a part that the state does not settle ("any" in
/// the code table) and for parts that are neither switch nor contact.
std::optional<bool> is_closed(const profile::Profile& profile, const profile::Part& part,
                              const PackState& state);

/// All switches and contacts that join one pair of terminals, in the profile's order.
struct ContactPair {
  std::string from;
  std::string to;
  std::vector<const profile::Part*> parts;
};
std::vector<ContactPair> contact_pairs(const profile::Profile& profile);

/// What a good pack reads across a pair: `closed` with the bounds of the
/// parallel closed branches (wires on the way included in the upper bound), or
/// open. nullopt when the state does not settle one of its parts.
struct PairExpectation {
  bool closed = false;
  Interval ohm;  ///< when closed
};
std::optional<PairExpectation> expectation(const profile::Profile& profile, const ContactPair& pair,
                                           const PackState& state);

/// Groups of terminals joined inside the pack in this state (parts that are not
/// settled count as open), the group with the case first. Every pin is in one group.
std::vector<std::vector<std::string>> circuits(const profile::Profile& profile,
                                               const PackState& state);

}  // namespace pinproof::network
