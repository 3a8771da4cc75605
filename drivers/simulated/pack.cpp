#include "simulated/pack.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

namespace pinproof::simulated {
namespace {

using profile::Part;

constexpr double kPin_ohm = 0.004;          // contact of a connector pin
constexpr double kInsulation_S = 1.5e-10;   // of each pin to the case
constexpr double kUsed = 0.6;               // share of the tolerance that a good pack uses
constexpr double kHeat_J_K = 12;            // heat capacity of a coil's copper and bobbin
constexpr double kCool_s = 60;              // time constant of a coil in still air
constexpr double kLeast_ohm = 1e-3;         // of any part: keeps the network's matrix well scaled
constexpr double kBridge_ohm = 0.05;        // a drop of solder between two pins
constexpr double kPinLeak_S = 1e-5;         // between two pins: 100 kohm
constexpr double kShortedDiode_ohm = 0.05;  // across the coil
constexpr double kThermistorBeyond_ohm = 1e4;  // outside of the profile's curve
constexpr double kLeakHalves_K = 10;           // hot insulation: half for each so much
// A driven winding is not a resistor: its middle lies halfway between its ends, by resistors so
// many times larger than the winding that they carry nothing.
constexpr double kDivider = 100;

// Uniform in the middle `share` of an interval.
double inside(const Interval& limit, double share, std::mt19937_64& random) {
  std::uniform_real_distribution<double> spread(-1, 1);
  return limit.middle() + share * limit.width() / 2 * spread(random);
}

double copper(double celsius) { return (234.5 + celsius) / 254.5; }  // IEC 60028

struct CoilEffect {
  std::string_view fault;
  void (*on)(TrueCoil& coil, double size);
};

constexpr std::array kCoilEffects{
    CoilEffect{"open", [](TrueCoil& coil, double) { coil.open = true; }},
    CoilEffect{"shorted", [](TrueCoil& coil, double ohm) { coil.bypass_ohm = ohm; }},
    CoilEffect{"shorted-turns",
               [](TrueCoil& coil, double percent) { coil.shorted_share = percent / 100; }},
    CoilEffect{"joint", [](TrueCoil& coil, double ohm) { coil.extra_ohm += ohm; }},
    CoilEffect{"film", [](TrueCoil& coil, double ohm) { coil.film_ohm += ohm; }},
    CoilEffect{"heating-joint", [](TrueCoil& coil, double ohm) { coil.heating_ohm += ohm; }},
    CoilEffect{"intermittent", [](TrueCoil& coil, double) { coil.intermittent = true; }},
    CoilEffect{"case-leak", [](TrueCoil& coil,
                               double ohm) { coil.case_leak_ohm = ohm, coil.leak_halves = false; }},
    CoilEffect{
        "hot-insulation",
        [](TrueCoil& coil, double ohm) { coil.case_leak_ohm = ohm, coil.leak_halves = true; }},
    CoilEffect{"stuck-open", [](TrueCoil& coil, double) { coil.jam = Jam::open; }},
    CoilEffect{"stuck-seated", [](TrueCoil& coil, double) { coil.jam = Jam::seated; }},
    CoilEffect{"sticky", [](TrueCoil& coil, double times) { coil.damping_Ns_m *= times; }},
    CoilEffect{"weak-magnet", [](TrueCoil& coil, double percent) { coil.k *= 1 - percent / 100; }},
    CoilEffect{"weak-spring",
               [](TrueCoil& coil, double percent) {
                 coil.preload_N *= 1 - percent / 100, coil.spring_N_m *= 1 - percent / 100;
               }},
    CoilEffect{"suppression-missing",
               [](TrueCoil& coil, double) { coil.diode = DiodeState::missing; }},
    CoilEffect{"suppression-reversed",
               [](TrueCoil& coil, double) { coil.diode = DiodeState::reversed; }},
    CoilEffect{"suppression-shorted", [](TrueCoil& coil, double) {
                 coil.diode = DiodeState::shorted, coil.bypass_ohm = kShortedDiode_ohm;
               }}};

// nullptr: a fault of more than the coil itself.
const CoilEffect* coil_effect_of(const PackFault& fault) {
  const auto it =
      std::find_if(kCoilEffects.begin(), kCoilEffects.end(),
                   [&](const CoilEffect& one) { return one.fault == fault.kind->name; });
  return it == kCoilEffects.end() ? nullptr : &*it;
}

}  // namespace

Pack::Pack(profile::Profile profile, std::uint64_t seed, const std::vector<PackFault>& faults)
    : profile_(std::move(profile)) {
  for (const auto& pin : profile_.connector.pins) behind_[pin.number] = "~" + pin.number;
  draw(seed);
  for (const PackFault& fault : faults) apply(fault);
}

std::string Pack::inner(const std::string& node) const {
  return profile_.is_pin(node) ? "~" + node : node;
}

void Pack::draw(std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> spread(-1, 1);
  const double lot = spread(random);  // coils of one pack are wound alike
  for (const Part& part : profile_.parts) {
    if (part.coil()) draw_coil(part, lot, random);
    if (part.wire()) wire_ohm_[part.name] = part.wire()->max_ohm * (0.25 + 0.1 * spread(random));
    if (part.thermistor()) thermistor_scale_[part.name] = 1 + 0.01 * spread(random);
    if (part.pressure_switch() || part.contact()) {
      const auto& series =
          part.pressure_switch() ? part.pressure_switch()->series_ohm : part.contact()->series_ohm;
      const double most =
          part.pressure_switch() ? part.pressure_switch()->closed_ohm : part.contact()->closed_ohm;
      ContactState state;
      state.closed_ohm = most * (0.08 + 0.05 * spread(random));
      state.series_ohm = series ? inside(*series, kUsed, random) : 0;
      if (part.pressure_switch()) {
        state.trip_Pa = part.pressure_switch()->trip_Pa * (0.92 + 0.05 * spread(random));
        state.reset_Pa = part.pressure_switch()->reset_Pa * (1.1 + 0.05 * spread(random));
      }
      contacts_[part.name] = state;
    }
  }
}

// Similarity to the reference coil: 13 ohm, 33 mH, 1.038 A, gap 0.6 mm, stroke
// 0.5 mm, eddy 80 ohm, preload 3 N, spring 2 N/mm, mass 6 g, damping 0.6 Ns/m.
void Pack::draw_coil(const Part& part, double lot, std::mt19937_64& random) {
  std::uniform_real_distribution<double> spread(-1, 1);
  const auto& coil = *part.coil();
  TrueCoil out;
  out.part = &part;
  const double half = coil.resistance_ohm.width() / 2;
  out.ohm20 = coil.resistance_ohm.middle() + kUsed * half * (0.7 * lot + 0.3 * spread(random));
  const double inductance = coil.inductance_H
                                ? coil.inductance_H->middle() * (1 + 0.06 * spread(random))
                                : 2.5e-3 * out.ohm20;
  const double final_A = std::min(profile_.supply_V / out.ohm20, coil.energy.max_current_A);
  const double time = inductance / out.ohm20 / (33e-3 / 13.0);
  out.leakage_H = 0.03 * inductance;
  out.eddy_ohm = out.ohm20 * 80 / 13.0;
  out.gap_m = 0.6e-3, out.stroke_m = 0.5e-3;
  const double rest_H = 0.955 * inductance;
  out.k = rest_H * (out.gap_m + out.stroke_m);
  out.sat_A = 0.15 * final_A / 1.038;
  out.sat_Vs = 70e-3 * inductance * final_A / (33e-3 * 1.038);
  const double pull_A =
      coil.pull_in_current_A ? 0.91 * coil.pull_in_current_A->middle() : 0.587 * final_A;
  const double flux = 0.86 * rest_H * pull_A;
  out.preload_N = flux * flux / (2 * out.k) * (1 + 0.05 * spread(random));
  out.spring_N_m = out.preload_N * 2.0e3 / 3.0;
  out.mass_kg = 6e-3 * out.preload_N / 3.0 * time * time * (1 + 0.05 * spread(random));
  out.damping_Ns_m = 0.6 * out.preload_N / 3.0 * time;
  out.moves = coil.coil_class == profile::CoilClass::on_off;
  coils_.push_back(out);
}

void Pack::apply(const PackFault& fault) {
  const std::string_view kind = fault.kind->name;
  const std::string_view target = fault.kind->applies_to;
  if (target == "coil") {
    const auto coil = std::find_if(coils_.begin(), coils_.end(),
                                   [&](const TrueCoil& c) { return c.part->name == fault.target; });
    apply_to_coil(*coil, fault);
  } else if (target == "wire") {
    wire_ohm_[fault.target] = kind == "open" ? INFINITY : wire_ohm_[fault.target] + fault.size;
  } else if (target == "contact" || target == "switch") {
    apply_to_contact(*profile_.find_part(fault.target), fault);
  } else if (target == "thermistor") {
    thermistor_scale_[fault.target] = kind == "open"      ? INFINITY
                                      : kind == "shorted" ? 0
                                                          : 1 + fault.size / 100;
  } else if (target == "pin" || target == "pack") {
    apply_to_pins(fault);
  }
}

void Pack::apply_to_coil(TrueCoil& coil, const PackFault& fault) {
  if (const auto* effect = coil_effect_of(fault)) return effect->on(coil, fault.size);
  if (fault.kind->name != "cross-leak") return;
  const std::size_t at = static_cast<std::size_t>(&coil - coils_.data());
  const auto control_end = [&](const TrueCoil& c) {
    return inner(c.part->between[c.part->between[1] == profile::kCase ? 0 : 1]);
  };
  leaks_.push_back(
      {control_end(coil), control_end(coils_[(at + 1) % coils_.size()]), 1 / fault.size});
}

void Pack::apply_to_contact(const Part& part, const PackFault& fault) {
  ContactState& state = contacts_[part.name];
  const std::string_view kind = fault.kind->name;
  if (kind == "stuck-closed") state.stuck_closed = true;
  if (kind == "stuck-open") state.stuck_open = true;
  if (kind == "contact-resistance") state.closed_ohm += fault.size;
  if (kind == "air-leak") state.leaks_from = fault.other;
  if (kind == "chatters" || kind == "intermittent") state.chatters = true;
  if (kind == "late") state.late_s = fault.size;
  if (kind == "series-drift") state.series_ohm *= 1 + fault.size / 100;
  if (kind == "series-short") state.series_ohm = 0;
  if (kind == "trip-high")
    state.trip_Pa *= 1 + fault.size / 100, state.reset_Pa *= 1 + fault.size / 100;
}

void Pack::apply_to_pins(const PackFault& fault) {
  const std::string_view kind = fault.kind->name;
  if (kind == "open") behind_[fault.target].clear();
  if (kind == "bridge") leaks_.push_back({fault.target, fault.other, 1 / kBridge_ohm});
  if (kind == "leak") leaks_.push_back({fault.target, fault.other, kPinLeak_S});
  if (kind == "debris")
    leaks_.push_back({fault.target, std::string(profile::kCase), 1 / fault.size});
  if (kind == "swap") std::swap(behind_[fault.target], behind_[fault.other]);
  if (kind == "water") flood(fault.size);
  if (kind == "mis-pinned") shift_row(fault.other);
}

// Water between the neighbours of each row of the connector.
void Pack::flood(double ohm) {
  for (const auto& row : profile_.connector.face)
    for (std::size_t i = 1; i < row.size(); ++i)
      if (!row[i - 1].empty() && !row[i].empty()) leaks_.push_back({row[i - 1], row[i], 1 / ohm});
}

// "9-12": each of these pins holds what belongs into the next one, the last what belongs into
// the first.
void Pack::shift_row(const std::string& row) {
  const auto& pins = profile_.connector.pins;
  const auto index = [&](const std::string& number) {
    return static_cast<std::size_t>(
        std::find_if(pins.begin(), pins.end(), [&](const auto& p) { return p.number == number; }) -
        pins.begin());
  };
  const auto dash = row.find('-');
  const std::size_t from = index(row.substr(0, dash));
  const std::size_t to = index(dash == std::string::npos ? "" : row.substr(dash + 1));
  for (std::size_t i = from; i + 1 <= to && to < pins.size(); ++i)
    std::swap(behind_[pins[i].number], behind_[pins[i + 1].number]);
}

void Pack::press(std::map<std::string, double> pascals) {
  for (auto& [name, state] : contacts_) {
    const Part* part = profile_.find_part(name);
    if (!part->pressure_switch()) continue;
    const auto pressure_at = [&](const std::string& element) {
      const auto at = pascals.find(element);
      return at == pascals.end() ? 0.0 : at->second;
    };
    const double here =
        std::max(pressure_at(part->pressure_switch()->element), pressure_at(state.leaks_from));
    const bool before = state.wanted;
    if (here >= state.trip_Pa) state.wanted = true;
    if (here <= state.reset_Pa) state.wanted = false;
    if (state.wanted != before) state.wanted_at_s = time_s_;
    if (state.late_s == 0) state.pressed = state.wanted;
  }
}

bool Pack::closed(const Part& part, ContactState& state) const {
  if (state.stuck_closed) return true;
  if (state.stuck_open) return false;
  // Scattered, so that no rhythm of readings falls in with it.
  if (state.chatters && (state.pressed || part.contact()) &&
      (++state.looks * 2654435761U >> 13) % 3 == 0)
    return false;
  if (part.pressure_switch())
    return state.pressed == (part.pressure_switch()->rest == profile::Rest::open);
  if (!profile_.lever) return false;
  return profile::lever_bit(*profile_.lever, part.name, lever_).value_or(profile::Bit::open) ==
         profile::Bit::closed;
}

double Pack::coil_ohm(const TrueCoil& coil) const {
  return coil.ohm20 * copper(coil.celsius) * (1 - coil.shorted_share) + coil.extra_ohm +
         coil.film_ohm;
}

std::vector<Branch> Pack::branches(const std::set<std::string>& left_out) {
  std::vector<Branch> out(leaks_);
  for (const auto& pin : profile_.connector.pins) {
    if (const auto& inner_node = behind_.at(pin.number); !inner_node.empty())
      out.push_back({pin.number, inner_node, 1 / kPin_ohm});
    out.push_back({"~" + pin.number, std::string(profile::kCase), kInsulation_S});
  }
  for (const Part& part : profile_.parts)
    if (const double ohm = ohm_of(part); std::isfinite(ohm))
      out.push_back(
          {inner(part.between[0]), inner(part.between[1]), 1 / std::max(ohm, kLeast_ohm)});
  for (const TrueCoil& coil : coils_) add_coil(coil, !left_out.contains(coil.part->name), out);
  return out;
}

// Of a part that is no coil, between its ends; infinite where it does not conduct now.
double Pack::ohm_of(const Part& part) {
  if (part.wire() && (plugged_ || !part.mate)) return wire_ohm_.at(part.name);
  if (part.resistor()) return part.resistor()->resistance_ohm.middle();
  if (part.thermistor())
    return profile::thermistor_ohm(*part.thermistor(), fluid_celsius_)
               .value_or(kThermistorBeyond_ohm) *
           thermistor_scale_.at(part.name);
  if (part.pressure_switch() || part.contact()) {
    ContactState& state = contacts_.at(part.name);
    if (closed(part, state)) return state.closed_ohm + state.series_ohm;
  }
  return INFINITY;
}

// A winding as two halves about its middle, and what leaks from it.
void Pack::add_coil(const TrueCoil& coil, bool with_winding, std::vector<Branch>& out) const {
  const std::string a = inner(coil.part->between[0]), b = inner(coil.part->between[1]),
                    tap = "~tap " + coil.part->name;
  if (coil.bypass_ohm > 0) out.push_back({a, b, 1 / coil.bypass_ohm});
  if (coil.case_leak_ohm > 0) {
    const double leak = coil.case_leak_ohm *
                        (coil.leak_halves ? std::exp2(-(coil.celsius - 20) / kLeakHalves_K) : 1);
    out.push_back({coil.open ? a : tap, std::string(profile::kCase), 1 / leak});
    if (!with_winding && !coil.open)
      for (const std::string& end : {a, b})
        out.push_back({end, tap, 1 / (kDivider * coil_ohm(coil))});
  }
  if (with_winding && !coil.open) {
    const double ohm = coil_ohm(coil);
    out.push_back({a, tap, 2 / ohm});
    out.push_back({tap, b, 2 / ohm});
  }
}

void Pack::heat(TrueCoil& coil, double joule) { coil.celsius += joule / kHeat_J_K; }

void Pack::cool(double seconds, double ambient) {
  time_s_ += seconds;
  for (auto& [name, state] : contacts_)
    if (time_s_ - state.wanted_at_s >= state.late_s) state.pressed = state.wanted;
  if (soaked_) ambient = *soaked_, seconds = INFINITY;
  const double keep = std::exp(-seconds / kCool_s);
  for (TrueCoil& coil : coils_) coil.celsius = ambient + (coil.celsius - ambient) * keep;
  fluid_celsius_ = ambient;
}

}  // namespace pinproof::simulated
