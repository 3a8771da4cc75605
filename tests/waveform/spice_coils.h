// Coils of tests/data/netlists/coils.tsv with faults, run by Debian's ngspice.
#pragma once

#include <cmath>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "waveform/capture.h"

namespace pinproof::waveform {

struct SpiceCoil {
  std::string name;
  bool variable = false;
  std::map<std::string, double> parameters;  ///< of the netlist, by its names
  double at(const std::string& parameter) const { return parameters.at(parameter); }
};

/// The table, all of it.
std::vector<SpiceCoil> spice_coils();

/// One fault as edits of the parameters, and the finding that should name it
/// ("" for none).
struct SpiceFault {
  std::string_view name;
  std::string_view finding;
  void (*edit)(SpiceCoil& of);
};
const std::vector<SpiceFault>& spice_faults();  ///< the healthy coil first

struct SpiceRun {
  Capture capture;  ///< 2.5 us a sample
  /// True instants from the switching, NaN when never: 2 % of the travel, seated,
  /// and from the switch-off, back at rest.
  double begin_s = NAN, seat_s = NAN, back_s = NAN;
};

/// Times of the pulse: long enough for the coil's own time constant to have died out.
SpiceRun run_spice(const SpiceCoil& coil);

}  // namespace pinproof::waveform
