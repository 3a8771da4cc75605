// All of one inspection as data: a header and the stream of events in the order
// they happened. Verdicts, findings and diagnosis are computed from it and are
// never stored as the truth.
#pragma once

#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "findings/verdict.h"
#include "quantity/quantity.h"
#include "record/measured.h"

namespace pinproof::record {

/// The state the pack was put into for a reading.
struct Condition {
  std::string lever;  ///< position name; empty: no lever on this pack or not moved yet
  std::vector<std::string> applied;  ///< elements under test pressure
  double pressure_Pa = 0;            ///< at the applied elements
  bool plugged = false;              ///< harness and pack joined
  bool hot = false;                  ///< warmed through
  friend bool operator==(const Condition&, const Condition&) = default;
};
/// "lever P, at rest" or "lever D, air at E1, hot".
std::string text_of(const Condition& condition);

/// Which question a reading or capture answers.
struct Key {
  std::string check;    ///< name of the check that planned it: "coil-resistance"
  std::string subject;  ///< part, pin or circuit: "A"
  std::string role;     ///< where one subject needs several: "before", "P"
  friend auto operator<=>(const Key&, const Key&) = default;
};

/// One number with its unit and standard uncertainty, and how it came about.
struct Reading {
  Key key;
  std::vector<std::string> from;  ///< nodes tied together on the high side
  std::vector<std::string> to;    ///< nodes tied together on the low side
  Condition condition;
  Measured measured;
  bool overload = false;  ///< beyond the range: an open, when ohms were asked for
  std::string function;   ///< "ohm-4w", "ohm-2w", "volt", "temperature"
  std::string instrument;
  int repeats = 1;  ///< readings averaged
  double at_s = 0;  ///< since the start of the run

  /// See Measured: they throw where the reading is in another unit.
  Resistance ohm() const { return measured.ohm(); }
  Estimate estimate(Unit unit) const { return measured.estimate(unit); }
  /// Of ohms that may be an open: infinite with `overload`.
  double ohm_or_open() const { return overload ? INFINITY : ohm().si(); }
};

/// Sampled waveforms of one drive pulse.
struct PulseCapture {
  Key key;
  std::vector<std::string> coils;  ///< that were energised
  Condition condition;
  double set_V = 0;
  double limit_A = 0;
  double pulse_s = 0;
  double start_s = 0;  ///< of sample 0 from the trigger; negative with pre-trigger
  double interval_s = 0;
  std::vector<double> probe_V;     ///< voltage between the probed nodes
  std::vector<std::string> probe;  ///< the two probed nodes, high first
  std::vector<double> current_A;   ///< through the shunt: the sum of all energised coils
  std::vector<double> supply_V;    ///< at the supply's terminals
  double voltage_gain_u = 0;       ///< relative standard uncertainty of probe_V and supply_V
  double voltage_offset_u = 0;     ///< V
  double current_gain_u = 0;       ///< relative, shunt included
  double current_offset_u = 0;     ///< A
  double clip_A = 0;               ///< current at which the digitiser's range ends
  double clip_V = 0;
  std::string instrument;
  double at_s = 0;
};

/// Something the plan asked for and nobody did.
struct Skipped {
  Key key;
  std::string reason;  ///< for a person
  findings::SkipReason why = findings::SkipReason::other;
  bool inferred = false;  ///< `why` was read from the words of an old record: written without it
};

/// The bench itself failed while answering `key`; the part is not blamed.
struct BenchTrouble {
  Key key;
  std::string what;
};

/// A run that was cut off went on, after the bench had been checked anew.
struct Resumed {
  std::string at;  ///< UTC, ISO 8601
};

/// The run ended.
struct Finished {
  findings::Ending ending = findings::Ending::bench_failed;
  std::string why;        ///< for a person, when not complete
  bool inferred = false;  ///< as in Skipped

  bool complete() const { return ending == findings::Ending::complete; }
};

using Event = std::variant<Reading, PulseCapture, Skipped, BenchTrouble, Finished, Resumed>;

struct Header {
  std::string id;  ///< in its ledger; empty where it is in none
  std::string profile_name;
  std::string profile_hash;
  std::string bench_name;
  std::string serial;
  std::string lot;
  std::string note;                   ///< the operator's
  std::string program;                ///< "pinproof 0.1.0"
  std::string started_at;             ///< UTC, ISO 8601; empty in runs that must repeat to the byte
  bool full = false;                  ///< driven captures were planned
  std::optional<Estimate> reference;  ///< the bench's reference resistor, ohm; it may have none
  std::optional<Estimate> high_reference;  ///< its resistor of megohms; it may have none
  double thermometer_u = 0;                ///< standard uncertainty of the thermometer, K
  double bench_clamp_V = 0;                ///< bench::Fixture::clamp_V; 0 unknown
  std::string bench_hash;  ///< bench::fingerprint(); empty where nobody will go on with the run
};

struct Record {
  Header header;
  std::vector<Event> events;
};

/// Readings and captures of one key, in order. The pointers live as long as the record.
std::vector<const Reading*> readings(const Record& record, const Key& key);
/// The answer that counts: the last one, unless the key was skipped after it; else nullptr.
const Reading* last_reading(const Record& record, const Key& key);
const PulseCapture* last_capture(const Record& record, const Key& key);
/// How long the supply drove for certain, from the trigger: the width that was set, or less where
/// its voltage falls through half before: a computer's clock times some pulses.
double driven_s(const PulseCapture& capture);

/// Listens to a run. Terminal, screen and ledger are listeners.
class Listener {
 public:
  virtual ~Listener() = default;
  virtual void on_event(const Event& event) = 0;
};

}  // namespace pinproof::record
