#include "inspection/sight/sight.h"

#include <algorithm>
#include <cmath>

#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

struct Need {
  bool Capabilities::*what;
  bool (*concerns)(const profile::Profile& profile);
  const char* fault;
  const char* why;
  const char* remedy;
};

bool has_coils(const profile::Profile& p) {
  return std::any_of(p.parts.begin(), p.parts.end(), [](const auto& part) { return part.coil(); });
}
bool has_switches(const profile::Profile& p) {
  return std::any_of(p.parts.begin(), p.parts.end(),
                     [](const auto& part) { return part.pressure_switch(); });
}
bool has_lever(const profile::Profile& p) { return p.lever.has_value(); }
bool any(const profile::Profile&) { return true; }

// One line for each thing that a bench can lack.
constexpr Need kNeeds[] = {
    {&Capabilities::drive, has_coils,
     "plungers that stick, are slow, have a weak or missing spring",
     "this bench does not drive coils", "a supply, a shunt, a digitiser and the drive rows"},
    {&Capabilities::drive, has_coils, "suppression diodes that are missing, reversed or shorted",
     "this bench does not drive coils", "a supply, a shunt, a digitiser and the drive rows"},
    {&Capabilities::drive, any,
     "joints, grounds and strands that fail only at amperes, and joints that a current repairs",
     "nothing here carries more than the meter's test current",
     "a supply and a digitiser, or four-wire drops at an ampere"},
    {&Capabilities::lever, has_lever, "range contacts and codes in any position but the first",
     "the lever cannot be moved", "an actuator, or \"driver\": \"hand\" for the actuator"},
    {&Capabilities::lever, has_switches, "pressure switches that do not follow their pressure",
     "no air can be applied", "an actuator, or \"driver\": \"hand\" for the actuator"},
    {&Capabilities::celsius, has_coils, "coils outside their limits",
     "without a temperature a resistance has no meaning at 20 °C",
     "a thermometer beside the pack, or --celsius"},
    {&Capabilities::reference, any, "a meter that has drifted since its calibration",
     "this bench has no reference resistor", "a resistor of known value, 100 ohm, 0.1 %"},
    {&Capabilities::high_reference, any,
     "leaks, when the meter stays in a range too low for them and shows an overload",
     "this bench has no reference of megohms", "a resistor of known value, 10 Mohm, 1 %"},
    {&Capabilities::tie, has_coils, "a coil that is open while its pin touches another coil's pin",
     "each alone it reads the other coil's resistance",
     "a relay matrix; by hand, the coils' pins against each other"},
    {&Capabilities::tie, any, "leaks that only several circuits together make too low",
     "two probes read one pair at a time", "a relay matrix"},
};

std::string ohms(double value) { return format_si(value, Unit::ohm, 2); }

// A joint inside a coil's path hides behind the width of the coil's own limits
// and the guard band on both sides.
Unseen series_resistance(const profile::Part& part, const metrology::AccuracyTable& table,
                         bool four_wire, double contact_u_ohm) {
  const auto& limits = part.coil()->resistance_ohm;
  const std::string function = four_wire ? "ohm-4w" : "ohm-2w";
  const auto range = metrology::pick_range(table, function, limits.high);
  double u =
      range ? metrology::standard_uncertainty(table, function, *range, limits.high).value_or(0) : 0;
  if (!four_wire) u = std::hypot(u, std::sqrt(2.0) * contact_u_ohm);
  const double hidden = limits.high - limits.low + 4 * u;
  return {"a joint of less than " + ohms(hidden) + " in the path of coil " + part.name,
          "a coil at its lower limit may have that much and stay inside",
          "limits learned from known-good packs; a matched set of coils"};
}

}  // namespace

std::vector<Unseen> unseen(const profile::Profile& profile, const Capabilities& can,
                           const metrology::AccuracyTable& accuracy, bool four_wire,
                           double contact_u_ohm) {
  std::vector<Unseen> out;
  for (const Need& need : kNeeds)
    if (!(can.*need.what) && need.concerns(profile))
      out.push_back({need.fault, need.why, need.remedy});
  if (!four_wire)
    out.push_back({"contact resistances below " + ohms(2 * std::sqrt(2.0) * contact_u_ohm),
                   "two-wire readings spread by that much", "four-wire leads"});
  for (const profile::Part& part : profile.parts)
    if (part.coil()) out.push_back(series_resistance(part, accuracy, four_wire, contact_u_ohm));
  out.push_back({"insulation that fails hot or at high voltage",
                 "it is measured cold, at the meter's few volts",
                 "an insulation tester, with care"});
  out.push_back({"two equal coils that have changed places",
                 "they look the same from the connector", "watching which plunger moves"});
  return out;
}

}  // namespace pinproof::inspection
