// The instruments and the fixture of one bench, from a file of the schema
// "pinproof/bench/1".
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "metrology/accuracy.h"
#include "quantity/document.h"
#include "quantity/quantity.h"

namespace pinproof::bench {

struct InstrumentDescription {
  std::string role;                   ///< meter, matrix, probes, supply, digitiser, actuator
  std::string driver;                 ///< "scpi", "modbus", "sigrok-cli", "hand"
  std::string dialect;                ///< name of a dialect file, without ".json"
  std::string address;                ///< "tcp://HOST:PORT", "serial:///dev/..."; empty for a hand
  metrology::AccuracyTable accuracy;  ///< empty: the dialect's own
  int channel = 0;                    ///< of a supply with several outputs; 0: it has one
  double max_voltage_V = 0;           ///< of a supply
  double max_current_A = 0;
};

struct Shunt {
  std::string channel;  ///< digitiser channel
  double ohm = 0;
  double u_ohm = 0;
};

struct Fixture {
  std::map<std::string, std::string> rows;  ///< force_high ... probe_low -> row of the matrix
  std::map<std::string, std::string>
      columns;  ///< pin, "case", "reference+", "reference-" -> column
  std::map<std::string, std::string> elements;  ///< hydraulic element -> valve
  std::optional<Estimate> reference;            ///< ohm; a bench may have none
  std::optional<Estimate> high_reference;       ///< ohm, of megohms; a bench may have none
  bool kelvin = false;                          ///< hand probes that have sense leads of their own
  double dwell_s = 0.5;  ///< how long a reading under hand-held probes must stay
  Shunt shunt;
  std::string probe_channel;
  std::string supply_channel;
  double clamp_V = 0;           ///< where the drive switch holds a coil at switch-off; 0: unknown
  double contact_u_ohm = 0.03;  ///< spread of relay contacts and socket pins in two-wire readings
};

struct Description {
  std::string name;
  std::vector<InstrumentDescription> instruments;
  Fixture fixture;
  double thermometer_u_K = 0;  ///< standard uncertainty
  /// Simulated benches only: instrument time runs this many times faster than
  /// the wall clock, so rests between pulses may be that much shorter. 1 on a real bench.
  double time_scale = 1;

  const InstrumentDescription* find(std::string_view role) const;
  InstrumentDescription* find(std::string_view role);
};

/// One entry of an accuracy table, as bench files and accuracy files write it.
/// `source` is where the numbers come from when the entry does not say.
metrology::AccuracyEntry load_accuracy_entry(Place place, const std::string& source);

/// Throws Error(Fault::usage) naming file, pointer, value and what is allowed.
Description parse_description(std::string_view json, const std::string& file);
Description load_description(const std::string& path);

/// Hash of what readings rest on: wiring, figures of the fixture and of the instruments. Names,
/// addresses and speed are left out. Readings of one run come from one such bench.
std::string fingerprint(const Description& bench);

}  // namespace pinproof::bench
