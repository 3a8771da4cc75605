// What an inspection is sure to notice, told from the profile's limits and the bench's
// uncertainty alone: a pack with this fault, whose parts are otherwise anywhere inside their
// limits, is never accepted. Pure.
#pragma once

#include <string>
#include <vector>

#include "inspection/checks/plan.h"
#include "metrology/accuracy.h"
#include "profile/profile.h"

namespace pinproof::inspection {

struct Detection {
  std::string part = {};   ///< "coil B", "wire ground wire", "switch PS1", "pin 9", "pack"
  std::string fault = {};  ///< a class of faults: "joint"
  bool below = false;      ///< noticed at this size and smaller (leaks, bypasses), else and greater
  double size = 0;         ///< SI; percent as percent; damping as a factor
  Unit unit = Unit::none;  ///< of the size
  bool sized = false;      ///< false: the fault has no size
  bool full = false;       ///< only at level full
  bool by_chance = false;  ///< comes and goes: noticed only if it comes while it is measured
  std::string other = {};  ///< second pin, or a row of pins: "9-12"
  std::string by = {};     ///< the checks that notice it, in words
};

/// What is not sure to be noticed, and why.
struct Doubt {
  std::string part = {};
  std::string fault = {};
  std::string why;
};

struct DetectionLimits {
  std::vector<Detection> sure;
  std::vector<Doubt> not_sure;
};

/// Temperatures of the workshop for which the sizes hold, °C.
inline constexpr Interval kWorkshopCelsius{15, 30};

/// `meter` is its accuracy table; `contact_u_ohm` the spread of a contact in two-wire readings,
/// `thermometer_u_K` the thermometer's standard uncertainty. What only a driven coil shows is in it
/// where the bench can drive, marked as `full`.
DetectionLimits detection_limits(const profile::Profile& profile, const Capabilities& can,
                                 const metrology::AccuracyTable& meter, bool four_wire,
                                 double contact_u_ohm, double thermometer_u_K);

}  // namespace pinproof::inspection
