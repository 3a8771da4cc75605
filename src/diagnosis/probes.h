// Which questions there are to ask of this pack on this bench, and what each costs. Pure.
#pragma once

#include <string>
#include <vector>

#include "diagnosis/scene.h"

namespace pinproof::diagnosis {

/// What the bench can do, as far as the questions depend on it.
struct Means {
  bool lever = true;   ///< somebody or something moves lever and air
  bool tie = true;     ///< several terminals on one lead
  bool soak = false;   ///< somebody warms the pack through
  bool source = true;  ///< a supply drives current through a coil while a voltmeter reads elsewhere
};

/// Time of each action, in probings (a lead moved and read).
struct Effort {
  double probing = 1;
  double lever = 1.5;
  double air = 4;
  double plug = 6;
  double soak = 60;
  double drive = 3;  ///< a reading under current
};

/// All pairs of terminals in every situation at rest; each circuit against all others, and half
/// of the circuits against the other half, where leads can be tied; shares of a coil's voltage,
/// seen at every terminal outside its circuit; drops under load. Pairs whose contacts the profile
/// leaves open ("any") are left out there. Adds the loaded situations to the scene.
std::vector<Probe> probes_of(Scene& scene, const Means& means);

/// What `to` costs after a reading in situation `from` (npos: nothing is set yet).
double cost_of(const Scene& scene, std::size_t from, const Probe& to, const Effort& effort);

/// "lever D, air at E1, under load".
std::string situation_text(const profile::Profile& profile, const network::Situation& situation);
/// "9 to case, lever D".
std::string text_of(const Scene& scene, const Probe& probe);

}  // namespace pinproof::diagnosis
