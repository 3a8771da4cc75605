#include <algorithm>

#include "inspection/checks/plan.h"
#include "lever/lint_code.h"
#include "quantity/text.h"

namespace pinproof::lever {
namespace {

using profile::Gear;
using profile::Remark;
using Remarks = std::vector<Remark>;
using Weight = Remark::Weight;

constexpr std::size_t kLowestGearElements = 2;  // common practice, no source

std::string pressure(double pascal) { return format_si(pascal, Unit::pascal, 4); }

void lint_pressures(const profile::Profile& profile, Remarks& out) {
  const bool any = std::any_of(profile.parts.begin(), profile.parts.end(),
                               [](const auto& part) { return part.pressure_switch(); });
  if (!any) return;
  if (!profile.line_pressure_Pa) {
    out.push_back({Weight::warning, "/line_pressure_kPa",
                   "not given: whether a switch trips below it cannot be judged"});
    return;
  }
  const Interval& line = *profile.line_pressure_Pa;
  for (std::size_t k = 0; k < profile.parts.size(); ++k) {
    const auto& part = profile.parts[k];
    if (!part.pressure_switch()) continue;
    const std::string at = "/parts/" + std::to_string(k) + "/trip_kPa";
    if (part.pressure_switch()->trip_Pa >= line.low)
      out.push_back({Weight::error, at,
                     part.name + " trips at " + pressure(part.pressure_switch()->trip_Pa) +
                         ", and the least line pressure is " + pressure(line.low) +
                         ": it may never trip"});
    const double air = inspection::test_pressure_Pa(profile, {part.pressure_switch()->element});
    if (air > line.high)
      out.push_back({Weight::error, at,
                     "the air test of " + part.name + " would take " + pressure(air) +
                         ", more than the line pressure ever is: " + pressure(line.high)});
  }
}

// The first gear whose lever position drives forwards.
const Gear* lowest_forward(const profile::Profile& profile) {
  if (!profile.lever) return nullptr;
  for (const Gear& gear : profile.gears)
    for (const auto& position : profile.lever->positions)
      if (position.name == gear.lever && !position.start_permitted && !position.reverse)
        return &gear;
  return nullptr;
}

void lint_gear_table(const profile::Profile& profile, Remarks& out) {
  const Gear* lowest = lowest_forward(profile);
  if (lowest && lowest->applied.size() != kLowestGearElements)
    out.push_back({Weight::warning,
                   "/gears/" + std::to_string(lowest - profile.gears.data()) + "/applied",
                   "the lowest forward gear has " + std::to_string(lowest->applied.size()) +
                       " elements applied; two is usual (common practice, no source)"});
  for (std::size_t a = 0; a < profile.gears.size(); ++a)
    for (std::size_t b = a + 1; b < profile.gears.size(); ++b) {
      const Gear &x = profile.gears[a], &y = profile.gears[b];
      // What is energised makes what is applied.
      if (x.lever == y.lever && x.energised == y.energised && x.applied != y.applied)
        out.push_back({Weight::error, "/gears/" + std::to_string(b),
                       "gears " + x.name + " and " + y.name +
                           " have the same coils and lever, and different elements"});
    }
}

}  // namespace

std::vector<Remark> lint_gears(const profile::Profile& profile) {
  Remarks out;
  lint_pressures(profile, out);
  lint_gear_table(profile, out);
  return out;
}

}  // namespace pinproof::lever
