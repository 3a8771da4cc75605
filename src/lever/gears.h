// The pressure switches against the gear table: what was seen in each gear, and what is wrong.
// Pure.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "inspection/judgement.h"
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
  std::string bad_coil;                         ///< that must not be driven, or need not be
};

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
/// gear-current. Accept only where every switch was read in every gear and is right.
GearStudy study_gears(const profile::Profile& profile, std::vector<GearSeen> seen,
                      std::vector<TripSeen> trips);

/// Closed in this gear, by the table.
bool closes_in(const profile::Gear& gear, const std::string& switch_name);

}  // namespace pinproof::lever
