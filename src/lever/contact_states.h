// Which of the contacts between two terminals are closed, by the resistance there. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quantity/quantity.h"

namespace pinproof::lever {

struct ContactOhms {
  double closed_ohm = 0;  ///< greatest contact resistance
  std::optional<Interval> series_ohm;
};

/// 'c' closed, 'o' open, 'w' neither (or nobody can tell), for each contact. `wires_ohm` at most,
/// beside them; from `open_ohm` all are open; `ohm` infinite for an open. Several are told by their
/// series resistors, whose limits are taken with a fifth more to either side.
std::string states_of(const std::vector<ContactOhms>& contacts, double wires_ohm, double open_ohm,
                      double ohm);

}  // namespace pinproof::lever
