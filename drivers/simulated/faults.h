// Faults by name and size: "coil B: shorted-turns 10%", "wire ground wire:
// open", "pin 9: bridge 10", "bench: meter-drift 2% from 40" (of the 40th
// reading of the meter on). Adding a class is one line in the table of
// faults.cpp and its effect in pack.cpp, world.cpp or the instrument that has it.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "profile/profile.h"

namespace pinproof::simulated {

struct FaultClass {
  std::string_view name;
  std::string_view applies_to;   ///< "coil", "wire", "contact" (switches too), "switch",
                                 ///< "thermistor", "pin", "pack", "bench"
  std::string_view stated_size;  ///< size used when none is given; empty where the class has none
  Unit unit;           ///< of the size; Unit::none for another pin, a row of pins or nothing
  double least, most;  ///< allowed sizes
  std::string_view description;
  unsigned from = 0;  ///< of a bench fault: readings of the meter before it begins, if not told
};

struct PackFault {
  const FaultClass* kind = nullptr;
  std::string target;  ///< part name, pin number, or empty for pack and bench
  double size = 0;     ///< in SI, percent as percent
  std::string other;   ///< second pin, the row "9-12", or a relay "row!column"
  unsigned from = 0;   ///< of a bench fault: readings of the meter before it begins
};

std::span<const FaultClass> fault_classes();

/// Throws Error(Fault::usage) naming what is wrong and what is allowed.
PackFault parse_fault(const profile::Profile& profile, const std::string& text);

}  // namespace pinproof::simulated
