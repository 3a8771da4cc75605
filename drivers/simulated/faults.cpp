#include "simulated/faults.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::simulated {
namespace {

using profile::PartKind;

constexpr Unit kOhm = Unit::ohm;
constexpr Unit kPercent = Unit::percent;
constexpr Unit kNothing = Unit::none;

constexpr std::array kClasses{
    FaultClass{"open", "coil", "", kNothing, 0, 0, "winding, joint or wire broken"},
    FaultClass{"shorted", "coil", "0.3 ohm", kOhm, 0.01, 3, "winding bypassed"},
    FaultClass{"shorted-turns", "coil", "10 %", kPercent, 1, 60, "a share of the turns shorted"},
    FaultClass{"joint", "coil", "3 ohm", kOhm, 0.1, 1e4, "series resistance of a bad joint"},
    FaultClass{"film", "coil", "5 ohm", kOhm, 0.5, 100,
               "contact film: full at milliamperes, gone at an ampere"},
    FaultClass{"heating-joint", "coil", "2 ohm", kOhm, 0.5, 100, "a joint that grows under load"},
    FaultClass{"intermittent", "coil", "", kNothing, 0, 0, "opens for 5 ms about every 30 ms"},
    FaultClass{"case-leak", "coil", "100 kohm", kOhm, 1, 1e8,
               "leak from the middle of the winding to the case"},
    FaultClass{"cross-leak", "coil", "100 ohm", kOhm, 1, 1e6,
               "leak from its control end to the next coil's"},
    FaultClass{"hot-insulation", "coil", "3 Mohm", kOhm, 1e3, 1e10,
               "leak to the case that halves every 10 K, size at 20 °C"},
    FaultClass{"stuck-open", "coil", "", kNothing, 0, 0, "plunger does not leave its rest"},
    FaultClass{"stuck-seated", "coil", "", kNothing, 0, 0, "plunger does not leave its seat"},
    FaultClass{"sticky", "coil", "40", kNothing, 1, 100, "plunger damped that many times more"},
    FaultClass{"weak-magnet", "coil", "30 %", kPercent, 1, 90,
               "magnetic circuit weaker: a wrong or worn part"},
    FaultClass{"weak-spring", "coil", "75 %", kPercent, 1, 99, "spring weaker"},
    FaultClass{"suppression-missing", "coil", "", kNothing, 0, 0, "the coil's diode is not there"},
    FaultClass{"suppression-reversed", "coil", "", kNothing, 0, 0,
               "the coil's diode is the wrong way round"},
    FaultClass{"suppression-shorted", "coil", "", kNothing, 0, 0, "the coil's diode is a short"},
    FaultClass{"open", "wire", "", kNothing, 0, 0, "feed or ground lost"},
    FaultClass{"resistance", "wire", "1 ohm", kOhm, 0.01, 1e4, "corroded or loose"},
    FaultClass{"broken-strands", "wire", "250 mohm", kOhm, 0.01, 10, "a few strands left"},
    FaultClass{"stuck-closed", "contact", "", kNothing, 0, 0, "does not open"},
    FaultClass{"stuck-open", "contact", "", kNothing, 0, 0, "does not close"},
    FaultClass{"contact-resistance", "contact", "30 ohm", kOhm, 1, 1e5, "burnt or dirty"},
    FaultClass{"series-drift", "contact", "20 %", kPercent, -90, 500,
               "built-in series resistor off"},
    FaultClass{"series-short", "contact", "", kNothing, 0, 0, "built-in series resistor bypassed"},
    FaultClass{"intermittent", "contact", "", kNothing, 0, 0,
               "a lever contact that opens now and then"},
    FaultClass{"air-leak", "switch", "", kNothing, 0, 0,
               "air of another element leaks into its own: \"switch PS1: air-leak E3\""},
    FaultClass{"chatters", "switch", "", kNothing, 0, 0, "opens and closes while it is pressed"},
    FaultClass{"late", "switch", "3 s", Unit::second, 0.1, 60, "follows its pressure late"},
    FaultClass{"trip-high", "contact", "50 %", kPercent, 5, 500, "trips at a higher pressure"},
    FaultClass{"open", "thermistor", "", kNothing, 0, 0, "broken"},
    FaultClass{"shorted", "thermistor", "", kNothing, 0, 0, "bypassed"},
    FaultClass{"drift", "thermistor", "40 %", kPercent, -90, 900, "off its curve"},
    FaultClass{"open", "pin", "", kNothing, 0, 0, "pin or its wire broken"},
    FaultClass{"bridge", "pin", "", kNothing, 0, 0, "bridged to another pin: \"pin 9: bridge 10\""},
    FaultClass{"leak", "pin", "", kNothing, 0, 0, "100 kohm to another pin: \"pin 2: leak 3\""},
    FaultClass{"swap", "pin", "", kNothing, 0, 0,
               "changed places with another pin: \"pin 2: swap 9\""},
    FaultClass{"debris", "pin", "200 kohm", kOhm, 1, 1e8, "metal in the fluid, to the case"},
    FaultClass{"mis-pinned", "pack", "", kNothing, 0, 0,
               "a row of pins shifted by one: \"pack: mis-pinned 9-12\""},
    FaultClass{"water", "pack", "500 kohm", kOhm, 1e3, 1e8,
               "water in the connector: leaks between neighbours"},
    FaultClass{"meter-drift", "bench", "2 %", kPercent, -50, 50, "the meter's gain is off"},
    FaultClass{"sense-open", "bench", "", kNothing, 0, 0, "a sense lead is broken"},
    FaultClass{"lead-resistance", "bench", "20 ohm", kOhm, 1, 1e4, "a force lead is bad"},
    FaultClass{"relay-welded", "bench", "1!1", kNothing, 0, 0,
               "a relay does not open: \"relay-welded 1!5\", row and column of the fixture"},
    FaultClass{"relay-open", "bench", "1!1", kNothing, 0, 0, "a relay does not close"},
    FaultClass{"stuck-reading", "bench", "", kNothing, 0, 0, "the meter shows its last reading"},
    FaultClass{"stale-reading", "bench", "10 %", kPercent, 1, 100,
               "that share of readings belongs to the question before"},
    FaultClass{"overload", "bench", "", kNothing, 0, 0, "the meter shows an overload: its fuse"},
    FaultClass{"range-stuck", "bench", "1 Mohm", kOhm, 100, 1e8, "the meter stays in one range"},
    FaultClass{"range-drift", "bench", "3 %", kPercent, -50, 50,
               "the gain of the meter's 100 ohm range is off, of no other"},
    FaultClass{"sense-swapped", "bench", "", kNothing, 0, 0, "the sense leads changed places"},
    FaultClass{"wrong-shunt", "bench", "20 %", kPercent, -99, 900,
               "the shunt has more than the bench file says"},
    FaultClass{"shunt-swapped", "bench", "", kNothing, 0, 0, "the shunt's leads changed places"},
    FaultClass{"probe-swapped", "bench", "", kNothing, 0, 0,
               "the leads of the digitiser's probe changed places"},
    FaultClass{"supply-swapped", "bench", "", kNothing, 0, 0, "the supply's leads changed places"},
    FaultClass{"supply-sag", "bench", "20 %", kPercent, 1, 90, "the supply falls during a pulse"},
    FaultClass{"hum", "bench", "20 mV", Unit::volt, 1e-4, 10, "50 Hz on all leads"},
    FaultClass{"noise-burst", "bench", "2 V", Unit::volt, 1e-3, 100, "bursts of noise in a sweep"},
    FaultClass{"dropped-samples", "bench", "2 %", kPercent, 0.1, 50,
               "that share of a sweep is lost, and what follows moves up"},
    FaultClass{"duplicated-samples", "bench", "2 %", kPercent, 0.1, 50,
               "that share of a sweep comes twice"},
    FaultClass{"link-delay", "bench", "50 ms", Unit::second, 1e-3, 60,
               "answers are late, by the wall clock"},
    FaultClass{"reset", "bench", "", kNothing, 0, 0, "all instruments restart", 30},
    FaultClass{"no-answer", "bench", "", kNothing, 0, 0, "the meter stops answering", 20},
    FaultClass{"garbage", "bench", "", kNothing, 0, 0, "the meter answers garbage", 20},
};

[[noreturn]] void refuse(const std::string& text, const std::string& what) {
  throw Error(Fault::usage, "fault \"" + text + "\": " + what);
}

std::string_view target_kind(PartKind kind) {
  switch (kind) {
    case PartKind::switch_:
    case PartKind::contact:
      return "contact";
    case PartKind::coil:
      return "coil";
    case PartKind::thermistor:
      return "thermistor";
    case PartKind::wire:
      return "wire";
    default:
      return "";
  }
}

struct FaultTarget {
  std::string_view kind;
  std::string name;
};

// "coil B", "wire ground wire", "switch PS1", "pin 9", "pack", "bench".
FaultTarget read_target(const profile::Profile& profile, const std::string& text,
                        const std::string& whole) {
  if (text == "pack") return {"pack", ""};
  if (text == "bench") return {"bench", ""};
  const auto space = text.find(' ');
  const std::string word = text.substr(0, space);
  const std::string name = space == std::string::npos ? "" : text.substr(space + 1);
  if (word == "pin") {
    if (!profile.is_pin(name)) refuse(whole, "\"" + name + "\" is not a pin");
    return {"pin", name};
  }
  const profile::Part* part = profile.find_part(name);
  if (!part || name_of(part->kind()) != word)
    refuse(whole, "\"" + text +
                      "\" is not \"pack\", \"bench\", \"pin NUMBER\" or a part of the profile as "
                      "\"KIND NAME\"");
  return {target_kind(part->kind()), part->name};
}

// "1!5": one of eight rows, one of the columns of the pins, the case and the reference resistor.
void read_relay(const profile::Profile& profile, PackFault& fault, const std::string& size,
                const std::string& whole) {
  constexpr double kRows = 8;  // of the simulated fixture, see World::kRowCount
  const double columns = static_cast<double>(profile.connector.pins.size()) + 5;
  const std::string text = size.empty() ? std::string(fault.kind->stated_size) : size;
  const auto mark = text.find('!');
  const auto row = parse_number(text.substr(0, mark));
  const auto column =
      mark == std::string::npos ? std::nullopt : parse_number(text.substr(mark + 1));
  if (!row || !column || !(*row >= 1 && *row <= kRows && *column >= 1 && *column <= columns) ||
      *row != std::floor(*row) || *column != std::floor(*column))
    refuse(whole, "relay \"" + text + "\"; row!column is wanted, 1!1 to 8!" +
                      std::to_string(static_cast<int>(columns)));
  fault.other =
      std::to_string(static_cast<int>(*row)) + "!" + std::to_string(static_cast<int>(*column));
}

// Takes " from 40" off the end.
void read_beginning(PackFault& fault, std::string& size, const std::string& whole) {
  fault.from = fault.kind->from;
  const auto at = (" " + size).rfind(" from ");
  if (fault.kind->applies_to != "bench" || at == std::string::npos) return;
  const std::string text = (" " + size).substr(at + 6);
  const auto count = parse_number(text);
  if (!count || !(*count >= 0 && *count <= 1e6) || *count != std::floor(*count))
    refuse(whole, "\"from " + text + "\"; a number of readings from 0 to 1000000 is wanted");
  fault.from = static_cast<unsigned>(*count);
  size.erase(at == 0 ? 0 : at - 1);
}

// A pin, or for "mis-pinned" a row of pins.
void read_other_pin(const profile::Profile& profile, PackFault& fault, const std::string& text,
                    const std::string& whole) {
  const bool row = fault.kind->name == "mis-pinned";
  const bool pin = profile.is_pin(text) && text != fault.target;
  if (text.empty() || (!row && !pin))
    refuse(whole, "another pin is wanted behind " + std::string(fault.kind->name));
  fault.other = text;
}

void read_element(const profile::Profile& profile, PackFault& fault, const std::string& text,
                  const std::string& whole) {
  const bool known =
      std::any_of(profile.parts.begin(), profile.parts.end(), [&](const profile::Part& part) {
        return part.pressure_switch() && part.pressure_switch()->element == text;
      });
  if (!known) refuse(whole, "another element is wanted behind air-leak");
  fault.other = text;
}

void read_number(const profile::Profile&, PackFault& fault, const std::string& text,
                 const std::string& whole) {
  const FaultClass& kind = *fault.kind;
  if (kind.stated_size.empty()) {
    if (!text.empty()) refuse(whole, std::string(kind.name) + " has no size");
    return;
  }
  const std::string size = text.empty() ? std::string(kind.stated_size) : text;
  const auto value = parse_si(size, kind.unit);
  if (!value || !(*value >= kind.least && *value <= kind.most))
    refuse(whole, "size \"" + size + "\"; allowed is " + format_si(kind.least, kind.unit, 3) +
                      " to " + format_si(kind.most, kind.unit, 3));
  fault.size = *value;
}

// What stands behind the name where it is no number.
struct SizeReader {
  std::string_view fault;
  void (*read)(const profile::Profile& profile, PackFault& fault, const std::string& text,
               const std::string& whole);
};
constexpr std::array kSizeReaders{
    SizeReader{"relay-open", read_relay}, SizeReader{"relay-welded", read_relay},
    SizeReader{"bridge", read_other_pin}, SizeReader{"leak", read_other_pin},
    SizeReader{"swap", read_other_pin},   SizeReader{"mis-pinned", read_other_pin},
    SizeReader{"air-leak", read_element}};

void read_size(const profile::Profile& profile, PackFault& fault, std::string size,
               const std::string& whole) {
  read_beginning(fault, size, whole);
  for (const SizeReader& reader : kSizeReaders)
    if (reader.fault == fault.kind->name) return reader.read(profile, fault, size, whole);
  read_number(profile, fault, size, whole);
}

const FaultClass& class_named(const profile::Profile& profile, const FaultTarget& target,
                              const std::string& name, const std::string& whole) {
  std::string known;
  for (const FaultClass& kind : kClasses) {
    const bool of_switch = kind.applies_to == "switch" && target.kind == "contact" &&
                           profile.find_part(target.name)->pressure_switch();
    if (kind.applies_to != target.kind && !of_switch) continue;
    if (kind.name == name) return kind;
    known += (known.empty() ? "" : ", ") + std::string(kind.name);
  }
  refuse(whole,
         "\"" + name + "\" is no fault of a " + std::string(target.kind) + "; known are " + known);
}

bool has_no_suppression(const profile::Part& part) {
  return part.coil() && part.coil()->suppression.kind == profile::SuppressionKind::none;
}

bool has_no_series(const profile::Part& part) {
  return !(part.pressure_switch() ? part.pressure_switch()->series_ohm
                                  : part.contact()->series_ohm);
}

bool ends_at_case(const profile::Part& part) {
  return part.between[0] == profile::kCase || part.between[1] == profile::kCase;
}

bool is_pressure_switch(const profile::Part& part) { return part.pressure_switch() != nullptr; }

bool is_lever_contact(const profile::Part& part) { return !part.pressure_switch(); }

// Faults that not every part of their kind can have.
struct Impossible {
  std::string_view fault;
  bool (*for_part)(const profile::Part& part);
  std::string_view why;
};
constexpr std::string_view kNoSuppression = "this coil has no suppression in the profile";
constexpr std::string_view kNoSeries = "this contact has no series resistor in the profile";
constexpr std::string_view kAcross =
    "this coil ends at the case: a leak to it lies across the coil and is no fault of its own";
constexpr std::array kImpossible{
    Impossible{"suppression-missing", has_no_suppression, kNoSuppression},
    Impossible{"suppression-reversed", has_no_suppression, kNoSuppression},
    Impossible{"suppression-shorted", has_no_suppression, kNoSuppression},
    Impossible{"series-drift", has_no_series, kNoSeries},
    Impossible{"series-short", has_no_series, kNoSeries},
    Impossible{"case-leak", ends_at_case, kAcross},
    Impossible{"hot-insulation", ends_at_case, kAcross},
    Impossible{"intermittent", is_pressure_switch,
               "only a lever contact is intermittent; a pressure switch chatters"},
    Impossible{"trip-high", is_lever_contact, "only a pressure switch trips"}};

void refuse_impossible(const profile::Profile& profile, const PackFault& fault,
                       const std::string& whole) {
  const profile::Part* part = profile.find_part(fault.target);
  for (const Impossible& one : kImpossible)
    if (part && one.fault == fault.kind->name && one.for_part(*part))
      refuse(whole, std::string(one.why));
}

}  // namespace

std::span<const FaultClass> fault_classes() { return kClasses; }

PackFault parse_fault(const profile::Profile& profile, const std::string& text) {
  const auto colon = text.find(": ");
  if (colon == std::string::npos) refuse(text, "\"TARGET: CLASS [SIZE]\" is wanted");
  const FaultTarget target = read_target(profile, text.substr(0, colon), text);
  const std::string rest = text.substr(colon + 2);
  const auto space = rest.find(' ');
  PackFault fault;
  fault.target = target.name;
  fault.kind = &class_named(profile, target, rest.substr(0, space), text);
  read_size(profile, fault, space == std::string::npos ? "" : rest.substr(space + 1), text);
  refuse_impossible(profile, fault, text);
  return fault;
}

}  // namespace pinproof::simulated
