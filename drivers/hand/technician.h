// The technician as a driver: two probes moved by hand, a lever and an air gun,
// behind the same ports as a relay matrix. Plan and verdict do not know which.
#pragma once

#include <functional>
#include <string>

#include "bench/console.h"
#include "bench/description.h"
#include "bench/ports.h"

namespace pinproof::hand {

/// How the pack is called and drawn; from its profile.
struct Wording {
  std::function<std::string(const std::string& node)> name;  ///< "pin 3 (coil B feed)"
  /// The connector face with the two nodes marked; empty: no drawing.
  std::function<std::string(const std::string& high, const std::string& low)> face;
};

/// Takes over for the roles "probes" and "actuator" whose driver is "hand": wraps
/// the meter that is installed already, and an actuator of any driver, so that no
/// reading from before a movement serves after it. `console` outlives the instruments.
/// Throws Error(Fault::usage) where there is no meter to hold probes of.
void install(const bench::Description& bench, bench::Console& console, Wording wording,
             bench::Instruments& instruments);

}  // namespace pinproof::hand
