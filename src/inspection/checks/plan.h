// What to measure, in which order: a list of steps that any bench can take, be
// it a relay matrix or a person with two probes. Pure.
#pragma once

#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "bench/ports.h"
#include "network/reach.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::inspection {

/// What this bench can do, as far as a plan depends on it.
struct Capabilities {
  bool tie = false;    ///< several nodes on one side of the meter
  bool drive = false;  ///< supply, digitiser and the paths for them
  bool lever = false;  ///< lever and air can be moved (actuator or person)
  bool celsius = false;
  bool reference = false;         ///< a known resistor to check the meter with
  bool high_reference = false;    ///< one of megohms
  std::vector<std::string> rows;  ///< of the fixture's relays, where there are any
  double supply_max_V = 0;
  double supply_max_A = 0;
};

/// Resistance between two sets of terminals; more than one expected value only
/// chooses the first range, never the outcome.
struct OhmStep {
  bench::Connection between;
  Resistance expected;  ///< infinite for an open
  int repeats = 1;
  Resistance enough{INFINITY};  ///< an overload beyond this needs no wider range
  bench::Rows rows =
      {};  ///< where not empty: these relays, for a self-check, in place of `between`
};

/// Temperature beside the pack.
struct TemperatureStep {};

/// One supply pulse through coils, with its waveforms.
struct DriveStep {
  std::vector<std::string> coils;
  bench::Connection drive;  ///< supply high and low
  bench::Connection probe;  ///< what the digitiser's voltage channel sees
  Voltage voltage;
  Current limit;
  Duration pulse;
  Duration after;  ///< recorded after the pulse
  Voltage probe_range;
  bool conductor = false;  ///< a wire of the pack and no coil
};

/// Phases run in this order. Heat comes last, since it moves every resistance.
enum class Phase { bench_before, rest, lever, air, vented, drive, bench_after };

struct Step {
  record::Key key;
  Phase phase = Phase::rest;
  network::PackState state;  ///< lever position and air; ignored in the bench phases
  std::variant<OhmStep, TemperatureStep, DriveStep> action;
  /// Looks at the record so far; a text is the reason to skip this step.
  std::function<std::optional<std::string>(const record::Record&)> skip_if;
};

struct Plan {
  std::vector<Step> steps;
  std::vector<record::Skipped> skipped;  ///< what this bench cannot do, and why

  /// Throws std::logic_error where the key is taken by a step with another connection or in another
  /// state: one answer would then pass for two questions. The same step twice is one step.
  void add(Step step);
  void skip(record::Key key, std::string reason,
            findings::SkipReason why = findings::SkipReason::other) {
    skipped.push_back({std::move(key), std::move(reason), why});
  }
};

/// The whole plan: every check's steps, ordered so that the lever, the air and
/// the relays move as little as possible. `full` asks for driven captures.
Plan make_plan(const profile::Profile& profile, const Capabilities& can, bool full);

/// Steps that the first readings call for (which pair leaks, and so on).
Plan make_follow_up(const profile::Profile& profile, const Capabilities& can,
                    const record::Record& record);

/// The rest state: first lever position where there is a lever, no air.
network::PackState rest_state(const profile::Profile& profile);

/// Test pressure for an element: 1.2 times the highest trip pressure of its
/// switches (common practice, no source), in Pa. Never the pack's line pressure.
double test_pressure_Pa(const profile::Profile& profile, const std::vector<std::string>& elements);

record::Condition condition_of(const profile::Profile& profile, const network::PackState& state);

}  // namespace pinproof::inspection
