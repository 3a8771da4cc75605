#include <algorithm>
#include <cstdio>

#include "quantity/lines.h"
#include "quantity/text.h"
#include "report/lever.h"

namespace pinproof::report {
namespace {

std::vector<const profile::Part*> switches_of(const profile::Profile& profile) {
  std::vector<const profile::Part*> out;
  for (const auto& part : profile.parts)
    if (part.pressure_switch()) out.push_back(&part);
  return out;
}

bool wanted_closed(const profile::Profile& profile, const std::string& gear,
                   const profile::Part& part) {
  for (const auto& one : profile.gears)
    if (one.name == gear) return lever::closes_in(one, part.name);
  return part.pressure_switch()->rest == profile::Rest::closed;
}

void add_rows(const profile::Profile& profile, const lever::GearStudy& study, std::string& out) {
  const auto switches = switches_of(profile);
  std::size_t width = 8;
  for (const auto& row : study.seen) width = std::max(width, columns(row.gear) + 1);
  out += "\n  " + padded("gear", width);
  for (const auto* part : switches)
    out += " " + padded(harmless(part->name), std::max<std::size_t>(2, columns(part->name)));
  out += "  coils draw\n";
  for (const auto& row : study.seen) {
    out += "  " + padded(row.gear.empty() ? "at rest" : harmless(row.gear), width);
    for (const auto* part : switches) {
      const auto it = row.switches.find(part->name);
      const char state = it == row.switches.end() ? '?' : it->second.state;
      const bool closed = wanted_closed(profile, row.gear, *part);
      std::string cell(1, state == 'c' ? '0' : state == 'o' ? '1' : state == 'w' ? 'w' : '.');
      if (state != '?' && state != (closed ? 'c' : 'o')) cell += '!';
      out += " " + padded(cell, std::max<std::size_t>(2, columns(part->name)));
    }
    if (row.current_A)
      out += "  " + format_si(*row.current_A, Unit::ampere, 3) + ", expected " +
             format_si(row.expected_A.value_or(0), Unit::ampere, 3);
    out += "\n";
  }
  out += "  1 open, 0 closed, w neither, . not read, ! not as the gear table says\n";
}

void add_trips(const profile::Profile& profile, const lever::GearStudy& study, std::string& out) {
  if (study.trips.empty()) return;
  out += "\nTrip and reset pressure, by the transducer\n";
  const auto text = [](const std::optional<double>& pascal) {
    return pascal ? format_si(*pascal, Unit::pascal, 3) : std::string("not seen");
  };
  for (const auto& trip : study.trips) {
    const auto& wanted = *profile.find_part(trip.name)->pressure_switch();
    wrap(out, "  " + padded(harmless(trip.name), 6),
         text(trip.trip_Pa) + " rising (at most " + text(wanted.trip_Pa) + "), " +
             text(trip.reset_Pa) + " falling (at least " + text(wanted.reset_Pa) + ")");
  }
}

}  // namespace

std::string gears_text(const profile::Profile& profile, const lever::GearStudy& study) {
  std::string out = "\nGear table: " + std::string(name_of(study.verdict)) + "\n";
  add_rows(profile, study, out);
  add_trips(profile, study, out);
  for (const auto& finding : study.findings) {
    wrap(out, "\n  - ", harmless(finding.text));
    for (const auto& line : finding.evidence) wrap(out, "    ", harmless(line));
    if (!finding.next.empty()) wrap(out, "    Next: ", harmless(finding.next));
  }
  for (const auto& text : study.left_out) wrap(out, "\n  Not tested: ", harmless(text));
  return out;
}

}  // namespace pinproof::report
