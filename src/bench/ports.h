// What a measurement may ask of an instrument or a person. Drivers implement
// these; nothing here knows which. Every call blocks until the instrument has
// confirmed or throws Error: timeout, bad_reply, bench or aborted.
#pragma once

#include <exception>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/patience.h"
#include "quantity/quantity.h"

namespace pinproof::bench {

/// What a meter showed, before any correction. `Measurand`: Resistance, Voltage or Temperature.
template <class Measurand>
struct Shown {
  Measurand value;  ///< no number with `overload`
  bool overload = false;
  Measurand range;       ///< nominal end of the range it was taken in, one of the accuracy table's
  std::string function;  ///< key of the accuracy table: "ohm-4w", "ohm-2w", "volt", "temperature"
};
using ShownOhms = Shown<Resistance>;
using ShownVolts = Shown<Voltage>;
using ShownCelsius = Shown<Temperature>;  ///< its range means nothing

class Meter {
 public:
  virtual ~Meter() = default;
  virtual std::string name() const = 0;
  virtual bool can_four_wire() const = 0;
  virtual bool can_celsius() const = 0;
  /// Resistance between whatever its leads are on. `range` is one of the
  /// accuracy table's ranges.
  virtual ShownOhms ohms(bool four_wire, Resistance range, const Patience& patience) = 0;
  virtual ShownVolts volts(Voltage range, const Patience& patience) = 0;
  /// Temperature beside the pack.
  virtual ShownCelsius celsius(const Patience& patience) = 0;
};

/// Where to put the ends of an instrument. Several nodes on one side are tied together.
struct Connection {
  std::vector<std::string> high;
  std::vector<std::string> low;
  friend bool operator==(const Connection&, const Connection&) = default;
};

/// The ends of the fixture's reference resistor, named like nodes.
inline constexpr std::string_view kReferencePlus = "reference+";
inline constexpr std::string_view kReferenceMinus = "reference-";
/// And of a resistor of megohms, which proves the ranges that insulation is read in.
inline constexpr std::string_view kHighReferencePlus = "high reference+";
inline constexpr std::string_view kHighReferenceMinus = "high reference-";

/// Nodes by the fixture's rows: "force_high", "sense_low", "drive_high", ...
using Rows = std::map<std::string, std::vector<std::string>>;

/// Connects instruments to the pack's nodes: a relay matrix, or a person with
/// two probes.
class Paths {
 public:
  virtual ~Paths() = default;
  virtual bool can_tie() const = 0;    ///< several nodes on one side at once
  virtual bool can_drive() const = 0;  ///< supply and probe rows exist
  /// The meter's force (and, with `sense`, sense) leads. Opens all other paths first.
  /// `expected` is a hint for a person; infinite where an open is expected.
  virtual void connect_meter(const Connection& to, bool sense, Resistance expected,
                             const Patience& patience) = 0;
  /// The supply to `drive` and the digitiser's probe to `probe`. Opens all other paths first.
  virtual void connect_drive(const Connection& drive, const Connection& probe,
                             const Patience& patience) = 0;
  virtual void open_all(const Patience& patience) = 0;
  /// Relays of any rows, for a self-check. Opens all other paths first. Throws Error(bench) where
  /// there are no relays.
  virtual void connect_rows(const Rows& rows, const Patience& patience);
  /// False where the relays themselves say that they no longer are as they were told.
  virtual bool still_connected(const Patience& patience);
};

/// Supply voltage and current of one pulse.
class Supply {
 public:
  virtual ~Supply() = default;
  virtual std::string name() const = 0;
  /// Post: the instrument has confirmed both by reading them back. Throws otherwise.
  virtual void set(Voltage voltage, Current limit, const Patience& patience) = 0;
  /// Its own clock times a pulse; otherwise this computer's does.
  virtual bool times_pulses() const = 0;
  /// One pulse; returns when it is over.
  virtual void pulse(Duration width, const Patience& patience) = 0;
  /// Output off, confirmed. Works on a fresh link if the old one is lost.
  virtual void off() = 0;
};

struct SweepSetup {
  std::size_t points = 0;
  Duration interval;
  std::size_t pretrigger = 0;  ///< of the points
  Voltage probe_range;
  Voltage shunt_range;
  Voltage supply_range;
};

struct Sweep {
  Duration interval;  ///< as the instrument says it was
  std::vector<double> probe_V;
  std::vector<double> shunt_V;
  std::vector<double> supply_V;
};

class Digitiser {
 public:
  virtual ~Digitiser() = default;
  virtual std::string name() const = 0;
  virtual void arm(const SweepSetup& setup, const Patience& patience) = 0;
  virtual Sweep fetch(const Patience& patience) = 0;
};

/// Moves the lever and applies air: an actuator, or a person who is asked to.
class Actuator {
 public:
  virtual ~Actuator() = default;
  virtual void lever(std::size_t position, const std::string& name, const Patience& patience) = 0;
  /// Exactly these elements under this pressure, all others vented. Where these have air already,
  /// only the pressure changes: it is not let off in between.
  virtual void air(const std::vector<std::string>& elements, Pressure pressure,
                   const Patience& patience) = 0;
  /// By a transducer; nullopt where there is none.
  virtual std::optional<Pressure> measured(const Patience& patience) = 0;
  /// Somebody stands at the pack and moves these: out of the way before a coil is driven.
  virtual bool by_hand() const { return false; }
};

/// Somebody at the bench, for what no instrument does: plugs a connector in, warms the pack.
class Person {
 public:
  virtual ~Person() = default;
  /// Returns when it is done. `kind` names all requests of this sort, for who wants to skip them
  /// all. Throws Detour.
  virtual void please(const std::string& kind, const std::string& what,
                      const Patience& patience) = 0;
};

enum class DetourKind { back, skip };

/// What a person wants instead of an answer. Not an Error: nothing has failed.
class Detour : public std::exception {
 public:
  Detour(DetourKind kind, std::string reason) : kind_(kind), reason_(std::move(reason)) {}
  DetourKind kind() const { return kind_; }
  /// Of a skip; never empty there.
  const std::string& reason() const { return reason_; }
  const char* what() const noexcept override { return "the technician wants something else"; }

 private:
  DetourKind kind_;
  std::string reason_;
};

/// What stands on this bench. A missing instrument is a null pointer; plans
/// degrade or say what they cannot do.
struct Instruments {
  std::unique_ptr<Meter> meter;
  std::unique_ptr<Paths> paths;
  std::unique_ptr<Supply> supply;
  std::unique_ptr<Digitiser> digitiser;
  std::unique_ptr<Actuator> actuator;
  std::unique_ptr<Person> person;
};

}  // namespace pinproof::bench
