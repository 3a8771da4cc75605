// What a good pack of one kind is: its connector, its parts and their limits,
// the lever's code table and the gear table. Plain data, loaded by load.h.
// Units are in the names; temperatures are in °C, all else in plain SI units.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "quantity/quantity.h"

namespace pinproof::profile {

/// The metal body of the pack. A node like any pin.
inline constexpr std::string_view kCase = "case";

struct Pin {
  std::string number;  ///< as printed on the connector: "1", "14", "B2"
  std::string signal;  ///< what runs there, in words
  std::string colour;  ///< of the wire; may be empty
};

struct Connector {
  std::vector<Pin> pins;
  /// Rows of the face as seen when looking into the pack's connector, pin
  /// numbers in each; an empty text is a gap.
  std::vector<std::vector<std::string>> face;
};

enum class PartKind { coil, switch_, contact, thermistor, diode, resistor, wire };
std::string_view name_of(PartKind kind);

/// Which end of the coil the controller switches.
enum class Drive { low_side, high_side };

enum class SuppressionKind { none, diode, zener };

struct Suppression {
  SuppressionKind kind = SuppressionKind::none;
  double zener_V = 0;  ///< clamp level of a zener; 0 otherwise
};

/// What the part may be given on the bench without harm.
struct EnergyBudget {
  double max_pulse_s = 0;
  double rest_s = 0;
  double max_current_A = 0;
};

enum class CoilClass { on_off, variable };

struct Coil {
  CoilClass coil_class = CoilClass::on_off;
  Interval resistance_ohm;  ///< at resistance_celsius, between the coil's own nodes
  double resistance_celsius = 20;
  std::optional<double> matched_within_percent;  ///< spread allowed inside a set of equal coils
  std::optional<Interval> inductance_H;          ///< plunger at rest, tau * R * a of the eddy model
  std::optional<Interval> pull_in_s;             ///< switch-on to seating
  std::optional<Interval> release_s;             ///< switch-off to the plunger's return
  std::optional<Interval> pull_in_current_A;     ///< current at which the plunger starts
  Suppression suppression;
  EnergyBudget energy;
  std::optional<double> hot_celsius;
  std::optional<double> hot_supply_V;
};

enum class Rest { open, closed };

/// A pressure switch. Closes (or opens) when its element is under pressure.
struct Switch {
  Rest rest = Rest::open;
  double trip_Pa = 0;                  ///< changes state by here, pressure rising
  double reset_Pa = 0;                 ///< back at rest by here, pressure falling
  double closed_ohm = 0;               ///< greatest contact resistance when closed
  std::optional<Interval> series_ohm;  ///< built-in series resistor, contact not included
  std::string element;                 ///< the hydraulic element (an air port on the bench)
};

/// A contact moved by the lever: a range line, start-permit or reverse.
struct Contact {
  double closed_ohm = 0;
  std::optional<Interval> series_ohm;
};

struct CurvePoint {
  double celsius = 0;
  double ohm = 0;
};

/// Steinhart-Hart 1/T = A + B ln R + C (ln R)^3, or a table (log R interpolated).
struct Thermistor {
  struct CurveCoefficients {
    double A = 0, B = 0, C = 0;
  };
  std::optional<CurveCoefficients> steinhart_hart;
  std::vector<CurvePoint> table;  ///< rising celsius, falling ohm; at least two, if no coefficients
  double tolerance_K = 0;         ///< allowed difference from the thermometer beside the pack
};

struct Resistor {
  Interval resistance_ohm;
};

/// A diode of the pack's own (not a coil's suppression): anode is between[0].
struct Diode {
  Interval forward_V;
};

/// A conductor inside the pack. Its resistance is at most max_ohm.
struct Wire {
  double max_ohm = 0;
};

/// What a part is, with the limits of its kind. In the order of PartKind.
using PartLimits = std::variant<Coil, Switch, Contact, Thermistor, Diode, Resistor, Wire>;

struct Part {
  std::string name;
  std::string between[2];  ///< pin number, "case" or an internal node
  bool mate = false;       ///< a contact that is there while a harness is plugged in; see harness.h
  bool required = true;    ///< a part that is not required may be skipped without a hold
  PartLimits limits = Wire{};

  PartKind kind() const { return static_cast<PartKind>(limits.index()); }

  /// Null where the part is of another kind.
  const Coil* coil() const { return std::get_if<Coil>(&limits); }
  const Switch* pressure_switch() const { return std::get_if<Switch>(&limits); }
  const Contact* contact() const { return std::get_if<Contact>(&limits); }
  const Thermistor* thermistor() const { return std::get_if<Thermistor>(&limits); }
  const Diode* diode() const { return std::get_if<Diode>(&limits); }
  const Resistor* resistor() const { return std::get_if<Resistor>(&limits); }
  const Wire* wire() const { return std::get_if<Wire>(&limits); }
  Coil* coil() { return std::get_if<Coil>(&limits); }
  Switch* pressure_switch() { return std::get_if<Switch>(&limits); }
  Contact* contact() { return std::get_if<Contact>(&limits); }
  Thermistor* thermistor() { return std::get_if<Thermistor>(&limits); }
  Resistor* resistor() { return std::get_if<Resistor>(&limits); }
  Wire* wire() { return std::get_if<Wire>(&limits); }
};

enum class Bit { open, closed, any };

struct LeverPosition {
  std::string name;       ///< "P", "R", "N", "D", ...
  std::vector<Bit> code;  ///< one for each of Lever::lines
  bool start_permitted = false;
  bool reverse = false;
};

/// How the controller reads a line: a resistor to its supply (to ground, where contacts close to
/// the feed) and two thresholds, between which it may take either.
struct LineInput {
  double supply_V = 0;
  double pull_ohm = 0;
  double low_V = 0;   ///< below: closed to ground
  double high_V = 0;  ///< above: open
};

/// The codes of another pack that fits the same connector.
struct LeverVariant {
  std::string name;
  std::vector<std::vector<Bit>> codes;  ///< by Lever::positions
};

struct Lever {
  std::vector<std::string> lines;        ///< names of contact parts, in code order
  std::string start_permit;              ///< name of a contact part; may be empty
  std::string reverse;                   ///< name of a contact part; may be empty
  std::vector<LeverPosition> positions;  ///< in order of the lever's travel
  /// Codes between neighbouring positions, positions.size() - 1 of them, or none if not given.
  std::vector<std::vector<Bit>> between;
  std::vector<LeverVariant> variants;
  std::optional<LineInput> input;
};

struct Gear {
  std::string name;
  std::string lever;                         ///< a lever position
  std::vector<std::string> energised;        ///< coils
  std::vector<std::string> applied;          ///< elements under pressure
  std::vector<std::string> closed_switches;  ///< pressure switches expected closed
};

struct TroubleCode {
  std::string code;
  std::string part;
  std::string kind;
};

/// How the pack's conductors may behave while its coils carry current.
struct LoadLimits {
  double feed_drop_V = 0;    ///< feed pin to splice, coils of any gear on
  double ground_rise_V = 0;  ///< case against the ground pin, coils of any gear on
};

struct Source {
  std::string of;  ///< what it covers: a JSON pointer, or "*"
  std::string
      text;  ///< book and page, "learned from N packs", "entered by hand", "invented for the demo"
};

struct Profile {
  std::string name;
  Connector connector;
  Drive drive = Drive::low_side;
  double supply_V = 0;             ///< at which the timing limits hold
  std::vector<std::string> nodes;  ///< internal
  std::vector<Part> parts;
  std::string ground_pin;     ///< the pin that is the pack's ground
  double insulation_ohm = 0;  ///< least resistance between circuits and to the case
  double open_ohm = 0;        ///< least resistance of an open switch or contact
  double guard_factor = 1.0;  ///< r in w = r * U: 1 or 0.83
  std::optional<LoadLimits> load;
  std::optional<Interval> line_pressure_Pa;  ///< that the controller commands, least to most
  std::optional<Lever> lever;
  std::vector<Gear> gears;
  std::vector<TroubleCode> trouble_codes;
  std::vector<Source> sources;
  std::size_t harness_pins = 0;  ///< of a pack joined with a harness: its wires; see harness.h
  std::string hash;              ///< of the file's bytes; set by the loader

  const Part* find_part(std::string_view part) const;
  bool is_pin(std::string_view node) const;
};

/// The contact's state at a lever position, for lines, start-permit and reverse
/// alike. nullopt when the part is not on the lever or the table says "any".
std::optional<Bit> lever_bit(const Lever& lever, std::string_view contact, std::size_t position);

/// One step from `node` along wires only: the pins (or case) that are `node`
/// itself or joined to it by wire parts, nearest first.
std::vector<std::string> terminals_of(const Profile& profile, std::string_view node);

/// Resistance of the thermistor at a temperature, and back. Table values are
/// interpolated in ln R against 1/T and not extrapolated beyond 20 K outside
/// the table: nullopt there, or for a resistance that is not positive.
std::optional<double> thermistor_ohm(const Thermistor& thermistor, double celsius);
std::optional<double> thermistor_celsius(const Thermistor& thermistor, double ohm);

}  // namespace pinproof::profile
