// The pressure switches against the gear table: what was seen in each gear, and what is wrong.
// Pure.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "inspection/checks/judgement.h"
#include "profile/profile.h"

namespace pinproof::lever {

/// One switch after the air was set.
struct SwitchSeen {
  char state = '?';    ///< 'c' closed, 'o' open, 'w' neither, '?' not read
  double after_s = 0;  ///< from the air to the last change; 0 where none was seen
  int changes = 0;     ///< seen while it was watched
};

struct GearSeen {
  std::string gear;  ///< empty: at rest, no air anywhere
  std::map<std::string, SwitchSeen> switches;
  std::optional<double> current_A, expected_A;  ///< of its coils together, where they were driven
  std::string not_driven;                       ///< why not
  bool drive_refused = false;                   ///< by a person, on a bench that could
  bool not_loaded = false;                      ///< driven, but the supply did not hold its voltage
  std::string bad_coil;                         ///< that must not be driven, or need not be
};

/// One pulse through all coils of a gear, when everything has settled.
struct GearPulse {
  double supply_V = 0, current_A = 0;  ///< as measured; NaN where it was not
  double set_V = 0, limit_A = 0;       ///< as the supply was told
  double siemens = 0;                  ///< of the coils together, by their resistances
};
/// What such a pulse says. Coils whose supply gave another voltage than was set, by more than
/// inspection's checks under load allow, are not judged: `not_loaded`, and `not_driven` says why.
/// In its current limit the supply gives way because of the coils: their current is judged too.
void take_pulse(const GearPulse& pulse, GearSeen& seen);

/// Where a switch changes state, by the transducer; nullopt where it was not seen to.
struct TripSeen {
  std::string name;
  std::optional<double> trip_Pa, reset_Pa;
  double step_Pa = 0;  ///< pressures between which nothing was read
};

struct GearStudy {
  std::vector<GearSeen> seen;  ///< at rest first
  std::vector<TripSeen> trips;
  std::vector<inspection::Finding> findings;
  std::vector<std::string> left_out;  ///< what was not tested, and why
  inspection::Verdict verdict = inspection::Verdict::hold;
};

/// Findings: switch-stuck-closed (closed at rest), switch-stuck-open, cross-leak (closes with air
/// at another element only), wrong-variant, switch-late, switch-chatters, trip-high, reset-low,
/// gear-current. Accept only where every switch was read in every gear and is right, and at least
/// one switch or one current was seen in a gear; never where a gear's coils were not loaded, nor
/// where a trip or reset pressure lies within one step of its limit.
GearStudy study_gears(const profile::Profile& profile, std::vector<GearSeen> seen,
                      std::vector<TripSeen> trips);

/// Closed in this gear, by the table.
bool closes_in(const profile::Gear& gear, const std::string& switch_name);

}  // namespace pinproof::lever
