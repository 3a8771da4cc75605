#include "profile/lint.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "quantity/text.h"

namespace pinproof::profile {
namespace {

using Weight = Remark::Weight;
using Remarks = std::vector<Remark>;

std::string part_pointer(std::size_t index) { return "/parts/" + std::to_string(index); }

void lint_pins(const Profile& profile, Remarks& out) {
  for (std::size_t i = 0; i < profile.connector.pins.size(); ++i) {
    const Pin& pin = profile.connector.pins[i];
    const auto ends_here = [&](const Part& p) {
      return p.between[0] == pin.number || p.between[1] == pin.number;
    };
    if (std::none_of(profile.parts.begin(), profile.parts.end(), ends_here))
      out.push_back({Weight::warning, "/connector/pins/" + std::to_string(i),
                     "no part ends at pin " + pin.number + ": it can only be tested as insulated"});
  }
  if (terminals_of(profile, kCase).size() < 2)
    out.push_back({Weight::warning, "/ground_pin",
                   "no wire joins the case to a pin: a lost ground cannot be seen"});
}

void lint_coil(const Coil& coil, double supply_V, const std::string& at, Remarks& out) {
  const double hottest_current = supply_V / coil.resistance_ohm.low;
  // A variable-force coil is driven at a voltage that keeps its budget.
  if (coil.coil_class == CoilClass::on_off && hottest_current > coil.energy.max_current_A * 1.001)
    out.push_back({Weight::warning, at + "/energy/max_current_A",
                   "a coil at its low limit draws " + format_si(hottest_current, Unit::ampere, 3) +
                       " at " + format_si(supply_V, Unit::volt, 3) +
                       ": the supply will limit, and timing is not that of the supply"});
  if (!coil.inductance_H)
    out.push_back({Weight::warning, at, "no inductance_H: shorted turns show by resistance alone"});
  if (coil.coil_class == CoilClass::on_off && !coil.pull_in_s)
    out.push_back({Weight::warning, at, "no pull_in_s: a slow plunger cannot be told"});
  if (coil.pull_in_s && coil.pull_in_s->high > coil.energy.max_pulse_s)
    out.push_back({Weight::error, at + "/pull_in_s",
                   "longer than energy/max_pulse_s: the plunger would never be seen to seat"});
  if (coil.matched_within_percent &&
      *coil.matched_within_percent > 100 * coil.resistance_ohm.width() / coil.resistance_ohm.low)
    out.push_back({Weight::warning, at + "/matched_within_percent",
                   "wider than the resistance limits themselves: it can never fail"});
}

void lint_parts(const Profile& profile, Remarks& out) {
  for (std::size_t i = 0; i < profile.parts.size(); ++i) {
    const Part& part = profile.parts[i];
    if (part.coil()) lint_coil(*part.coil(), profile.supply_V, part_pointer(i), out);
    const double closed = part.pressure_switch() ? part.pressure_switch()->closed_ohm
                          : part.contact()       ? part.contact()->closed_ohm
                                                 : 0;
    const auto series = part.pressure_switch() ? part.pressure_switch()->series_ohm
                        : part.contact()       ? part.contact()->series_ohm
                                               : std::nullopt;
    if (closed + (series ? series->high : 0) >= profile.open_ohm)
      out.push_back({Weight::error, part_pointer(i),
                     "closed resistance reaches open_ohm: open and closed cannot be told apart"});
  }
}

bool same_code(const std::vector<Bit>& a, const std::vector<Bit>& b) {
  for (std::size_t i = 0; i < a.size(); ++i)
    if (a[i] != Bit::any && b[i] != Bit::any && a[i] != b[i]) return false;
  return true;
}

bool all_are(const std::vector<Bit>& code, Bit bit) {
  return std::all_of(code.begin(), code.end(), [bit](Bit b) { return b == bit || b == Bit::any; });
}

void lint_position(const Lever& lever, std::size_t i, Remarks& out) {
  const LeverPosition& here = lever.positions[i];
  const std::string at = "/lever/positions/" + std::to_string(i);
  for (std::size_t k = 0; k < i; ++k)
    if (same_code(here.code, lever.positions[k].code))
      out.push_back({Weight::error, at + "/code",
                     here.name + " and " + lever.positions[k].name + " share a code"});
  if (here.start_permitted && (all_are(here.code, Bit::open) || all_are(here.code, Bit::closed)))
    out.push_back(
        {Weight::error, at + "/code",
         "an unplugged or grounded harness reads " + here.name + ", where starting is permitted"});
  if (here.start_permitted && here.reverse)
    out.push_back({Weight::error, at, "start_permitted and reverse at once"});
}

void lint_lever(const Profile& profile, Remarks& out) {
  if (!profile.lever) return;
  const Lever& lever = *profile.lever;
  for (std::size_t i = 0; i < lever.positions.size(); ++i) lint_position(lever, i, out);
  if (lever.start_permit.empty())
    out.push_back({Weight::warning, "/lever",
                   "no start_permit contact: start in gear cannot be judged on this pack"});
  for (std::size_t line = 0; line < lever.lines.size(); ++line) {
    std::set<Bit> seen;
    for (const LeverPosition& p : lever.positions) seen.insert(p.code[line]);
    if (!seen.contains(Bit::open) || !seen.contains(Bit::closed))
      out.push_back({Weight::warning, "/lever/lines/" + std::to_string(line),
                     "never changes: a stuck line shows nowhere"});
  }
}

void lint_gear(const Profile& profile, std::size_t index, Remarks& out) {
  const Gear& gear = profile.gears[index];
  const std::string at = "/gears/" + std::to_string(index);
  for (const Part& part : profile.parts) {
    if (!part.pressure_switch()) continue;
    const bool pressed = std::find(gear.applied.begin(), gear.applied.end(),
                                   part.pressure_switch()->element) != gear.applied.end();
    const bool listed = std::find(gear.closed_switches.begin(), gear.closed_switches.end(),
                                  part.name) != gear.closed_switches.end();
    const bool closes = pressed == (part.pressure_switch()->rest == Rest::open);
    if (closes != listed)
      out.push_back({Weight::error, at + "/closed_switches",
                     part.name + " would be " + (closes ? "closed" : "open") +
                         " with these elements applied, the table says otherwise"});
  }
}

void lint_sources(const Profile& profile, Remarks& out) {
  if (profile.sources.empty())
    out.push_back({Weight::error, "/sources", "empty: every number needs a source"});
  const bool whole = std::any_of(profile.sources.begin(), profile.sources.end(),
                                 [](const Source& s) { return s.of == "*"; });
  if (whole) return;
  for (std::size_t i = 0; i < profile.parts.size(); ++i) {
    const std::string at = part_pointer(i);
    const auto covers = [&](const Source& s) {
      return s.of == "/parts" || s.of == at || s.of.starts_with(at + "/");
    };
    if (std::none_of(profile.sources.begin(), profile.sources.end(), covers))
      out.push_back({Weight::warning, at, "no source for the numbers of " + profile.parts[i].name});
  }
}

}  // namespace

std::vector<Remark> lint(const Profile& profile) {
  Remarks out;
  lint_pins(profile, out);
  lint_parts(profile, out);
  lint_lever(profile, out);
  for (std::size_t i = 0; i < profile.gears.size(); ++i) lint_gear(profile, i, out);
  lint_sources(profile, out);
  std::stable_sort(out.begin(), out.end(), [](const Remark& a, const Remark& b) {
    return a.weight == Weight::error && b.weight == Weight::warning;
  });
  return out;
}

}  // namespace pinproof::profile
