#include "lever/gears.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "network/reach.h"
#include "quantity/phrase.h"
#include "quantity/text.h"

namespace pinproof::lever {
namespace {

using inspection::Finding;
using profile::Part;
using profile::Profile;

constexpr double kLate_s = 1.0;  // from air to change; our limit, no source
constexpr int kMostChanges = 2;  // a contact that bounces once is usual
constexpr double kOff = 0.2;     // of the current that the coils of a gear should draw
// As in inspection's checks under load.
constexpr double kSag = 0.05;     // of the set voltage: beyond, nothing was loaded
constexpr double kAtLimit = 0.9;  // of the supply's limit: from there the coils hold it down

bool holds(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

const profile::Gear* gear_named(const Profile& profile, const std::string& name) {
  for (const auto& gear : profile.gears)
    if (gear.name == name) return &gear;
  return nullptr;
}

bool rests_closed(const Part& part) {
  return part.pressure_switch()->rest == profile::Rest::closed;
}

bool expected_closed(const Profile& profile, const GearSeen& row, const Part& part) {
  const auto* gear = gear_named(profile, row.gear);
  return gear ? closes_in(*gear, part.name) : rests_closed(part);
}

std::string name_of(const GearSeen& row) { return row.gear.empty() ? "at rest" : row.gear; }

// Elements under pressure wherever the switch was wrong, and nowhere where it was right: what
// leaks into it.
std::vector<std::string> leaks_from(const Profile& profile, const std::vector<GearSeen>& seen,
                                    const Part& part) {
  const std::string& own = part.pressure_switch()->element;
  std::optional<std::set<std::string>> suspects;
  std::set<std::string> innocent;
  for (const GearSeen& row : seen) {
    const auto it = row.switches.find(part.name);
    const auto* gear = gear_named(profile, row.gear);
    if (it == row.switches.end() || !gear || holds(gear->applied, own)) continue;
    const bool pressed = (it->second.state == 'c') != rests_closed(part);
    std::set<std::string> applied(gear->applied.begin(), gear->applied.end());
    if (!pressed) {
      innocent.insert(applied.begin(), applied.end());
    } else if (!suspects) {
      suspects = applied;
    } else {
      std::erase_if(*suspects, [&](const std::string& e) { return !applied.contains(e); });
    }
  }
  std::vector<std::string> out;
  for (const std::string& element : suspects.value_or(std::set<std::string>{}))
    if (!innocent.contains(element)) out.push_back(element);
  return out;
}

struct Story {
  std::vector<std::string> wrong, closed_wrongly, open_wrongly, late, chatters;
  bool rest_wrong = false, ever_right_pressed = false;
};

Story story_of(const Profile& profile, const std::vector<GearSeen>& seen, const Part& part) {
  Story out;
  for (const GearSeen& row : seen) {
    const auto it = row.switches.find(part.name);
    if (it == row.switches.end() || it->second.state == '?') continue;
    const bool closed = expected_closed(profile, row, part);
    const bool pressed = closed != rests_closed(part);
    const bool chatters = it->second.changes > kMostChanges;
    const bool right = chatters || it->second.state == (closed ? 'c' : 'o');
    if (!right) {
      out.wrong.push_back(name_of(row));
      (closed ? out.open_wrongly : out.closed_wrongly).push_back(name_of(row));
      if (row.gear.empty()) out.rest_wrong = true;
    }
    if (right && pressed) out.ever_right_pressed = true;
    if (right && !chatters && it->second.after_s > kLate_s) out.late.push_back(name_of(row));
    if (chatters) out.chatters.push_back(name_of(row));
  }
  return out;
}

Finding wrong_finding(const Profile& profile, const std::vector<GearSeen>& seen, const Part& part,
                      const Story& story, const std::vector<std::string>& pins) {
  Finding f{"", part.name, "", pins, {"wrong in: " + joined(story.wrong)}, ""};
  const bool always_as_rest = !story.rest_wrong && !story.ever_right_pressed;
  if (story.rest_wrong && !rests_closed(part)) {
    f.kind = "switch-stuck-closed";
    f.text = "Switch " + part.name +
             " is closed without any pressure: stuck, or its wire touches "
             "ground.";
    f.next = "Compare with the harness unplugged; a switch that opens then is a wiring fault.";
  } else if (story.rest_wrong) {
    f.kind = "switch-stuck-open";
    f.text = "Switch " + part.name + ", closed at rest, is open without any pressure.";
    f.next = "The contact or its wire is open.";
  } else if (always_as_rest && !story.wrong.empty()) {
    f.kind = rests_closed(part) ? "switch-stuck-closed" : "switch-stuck-open";
    f.text = "Switch " + part.name + " does not answer to pressure at " +
             part.pressure_switch()->element + ".";
    f.next = "Check that air reaches the element, then the contact and its wire.";
  } else {
    const auto leaks = leaks_from(profile, seen, part);
    f.kind = leaks.empty() ? "gear-table" : "cross-leak";
    f.text = leaks.empty() ? "Switch " + part.name + " does not follow the gear table."
                           : "Switch " + part.name + " changes with air at " + joined(leaks) +
                                 ", and its own element " + part.pressure_switch()->element +
                                 " has none: a cross leak in the valve body or a gasket, not the "
                                 "switch.";
    f.next = leaks.empty() ? "Is it another variant of the pack? Compare the whole table."
                           : "Listen for the leak at " + part.pressure_switch()->element +
                                 " while that element alone has air.";
  }
  return f;
}

void judge_switch(const Profile& profile, const Part& part, const GearStudy& study,
                  std::vector<Finding>& out) {
  const Story story = story_of(profile, study.seen, part);
  std::vector<std::string> pins;
  if (const auto leads = network::leads_of(profile, part)) pins = {leads->from, leads->to};
  if (!story.wrong.empty()) out.push_back(wrong_finding(profile, study.seen, part, story, pins));
  if (!story.late.empty())
    out.push_back(
        {"switch-late",
         part.name,
         "Switch " + part.name + " follows its pressure late, in " + joined(story.late) + ".",
         pins,
         {"more than " + format_si(kLate_s, Unit::second, 2)},
         "A sticking switch, or air that builds up slowly: a leak at its element."});
  if (!story.chatters.empty())
    out.push_back(
        {"switch-chatters",
         part.name,
         "Switch " + part.name + " chatters under pressure, in " + joined(story.chatters) + ".",
         pins,
         {},
         "A worn contact, or a pressure near its trip point: look for a leak."});
}

void judge_trip(const Profile& profile, const TripSeen& trip, std::vector<Finding>& out) {
  const Part* part = profile.find_part(trip.name);
  if (!part || !part->pressure_switch()) return;
  // One that does not follow at all has no trip point worth a word.
  if (std::any_of(out.begin(), out.end(), [&](const Finding& f) {
        return f.part == trip.name && (f.kind.starts_with("switch-") || f.kind == "gear-table");
      }))
    return;
  const auto& wanted = *part->pressure_switch();
  const auto text = [](double pascal) { return format_si(pascal, Unit::pascal, 3); };
  if (!trip.trip_Pa || *trip.trip_Pa - trip.step_Pa > wanted.trip_Pa)
    out.push_back({"trip-high",
                   trip.name,
                   "Switch " + trip.name + " trips " +
                       (trip.trip_Pa ? "at " + text(*trip.trip_Pa) : "not at all") + ", by " +
                       text(wanted.trip_Pa) + " it should.",
                   {},
                   {},
                   "A worn or dirty switch; check the transducer against a gauge first."});
  if (trip.trip_Pa && (!trip.reset_Pa || *trip.reset_Pa + trip.step_Pa < wanted.reset_Pa))
    out.push_back({"reset-low",
                   trip.name,
                   "Switch " + trip.name + " falls back " +
                       (trip.reset_Pa ? "at " + text(*trip.reset_Pa) : "not at all") + ", by " +
                       text(wanted.reset_Pa) + " it should.",
                   {},
                   {},
                   "A sticking switch, or oil trapped behind it."});
}

void judge_current(const GearSeen& row, std::vector<Finding>& out) {
  if (!row.current_A || !row.expected_A ||
      std::abs(*row.current_A - *row.expected_A) <= kOff * *row.expected_A)
    return;
  out.push_back({"gear-current",
                 row.gear,
                 "The coils of gear " + row.gear + " together draw " +
                     format_si(*row.current_A, Unit::ampere, 3) +
                     ", by their resistances it "
                     "should be " +
                     format_si(*row.expected_A, Unit::ampere, 3) + ".",
                 {},
                 {},
                 "A coil or its wiring that fails under load: inspect names it."});
}

void judge_bad_coil(const GearSeen& row, std::vector<Finding>& out) {
  const auto known = [&](const Finding& f) { return f.part == row.bad_coil; };
  if (row.bad_coil.empty() || std::any_of(out.begin(), out.end(), known)) return;
  out.push_back({"coil-resistance",
                 row.bad_coil,
                 "Coil " + row.bad_coil + " reads far from its resistance: it was not driven.",
                 {},
                 {},
                 "inspect and diagnose name its fault."});
}

// Between the last step without and the first one with a change lies the switch's own pressure. A
// limit that lies there too is neither kept nor broken. The step is all that is known: a bench file
// says nothing of the transducer's own uncertainty.
std::vector<std::string> too_near(const Profile& profile, const std::vector<TripSeen>& trips) {
  std::vector<std::string> out;
  const auto text = [](double pascal) { return format_si(pascal, Unit::pascal, 3); };
  const auto add = [&](const TripSeen& trip, const char* word, double low, double high,
                       double limit) {
    out.push_back("switch " + trip.name + " " + word + " between " + text(low) + " and " +
                  text(high) + ", " + text(limit) + " is its limit: too near to tell");
  };
  for (const TripSeen& trip : trips) {
    const Part* part = profile.find_part(trip.name);
    if (!part || !part->pressure_switch()) continue;
    const auto& wanted = *part->pressure_switch();
    if (trip.trip_Pa && *trip.trip_Pa > wanted.trip_Pa &&
        *trip.trip_Pa - trip.step_Pa <= wanted.trip_Pa)
      add(trip, "trips", *trip.trip_Pa - trip.step_Pa, *trip.trip_Pa, wanted.trip_Pa);
    if (trip.reset_Pa && *trip.reset_Pa < wanted.reset_Pa &&
        *trip.reset_Pa + trip.step_Pa >= wanted.reset_Pa)
      add(trip, "falls back", *trip.reset_Pa, *trip.reset_Pa + trip.step_Pa, wanted.reset_Pa);
  }
  return out;
}

bool was_read(const SwitchSeen& one) { return one.state != '?'; }

// Every switch in every gear and at rest, and no gear's coils left out that could be driven.
bool all_seen(const Profile& profile, const std::vector<GearSeen>& seen) {
  return seen.size() == profile.gears.size() + 1 &&
         std::all_of(seen.begin(), seen.end(), [&](const GearSeen& row) {
           return !row.drive_refused && !row.not_loaded &&
                  std::all_of(profile.parts.begin(), profile.parts.end(), [&](const Part& part) {
                    const auto it = row.switches.find(part.name);
                    return !part.pressure_switch() ||
                           (it != row.switches.end() && was_read(it->second));
                  });
         });
}

// A table of which nothing was looked at is not a good one, though nothing in it is wrong.
bool anything_seen(const std::vector<GearSeen>& seen) {
  return std::any_of(seen.begin(), seen.end(), [](const GearSeen& row) {
    const bool read = std::any_of(row.switches.begin(), row.switches.end(),
                                  [](const auto& one) { return was_read(one.second); });
    return !row.gear.empty() && (read || row.current_A);
  });
}

std::vector<std::string> left_out_of(const GearStudy& study) {
  std::vector<std::string> out;
  if (!anything_seen(study.seen))
    out.push_back(
        "the whole gear table: nothing of it was seen, no switch was read in any gear and no "
        "coil's current");
  std::map<std::string, std::string> not_driven;  // why, and which gears
  for (const GearSeen& row : study.seen) {
    if (row.not_driven.empty()) continue;
    auto& gears = not_driven[row.not_driven];
    gears += (gears.empty() ? "" : ", ") + row.gear;
  }
  for (const auto& [why, gears] : not_driven)
    out.push_back("the coils of gear " + gears + ": " + why);
  if (study.trips.empty()) out.push_back("trip and reset pressures: no transducer here");
  return out;
}

}  // namespace

bool closes_in(const profile::Gear& gear, const std::string& switch_name) {
  return holds(gear.closed_switches, switch_name);
}

void take_pulse(const GearPulse& pulse, GearSeen& seen) {
  if (!std::isfinite(pulse.supply_V) || !std::isfinite(pulse.current_A)) {
    seen.not_loaded = true;
    seen.not_driven = "the supply's voltage or the current was not recorded";
    return;
  }
  if (!(std::abs(pulse.supply_V - pulse.set_V) < kSag * pulse.set_V)) {
    seen.not_loaded = true;
    seen.not_driven = "the supply gave " + format_si(pulse.supply_V, Unit::volt, 3) + " of " +
                      format_si(pulse.set_V, Unit::volt, 3) + ": they were not loaded";
    if (pulse.current_A < kAtLimit * pulse.limit_A) return;
  }
  seen.current_A = pulse.current_A;
  seen.expected_A = pulse.supply_V * pulse.siemens;
}

GearStudy study_gears(const Profile& profile, std::vector<GearSeen> seen,
                      std::vector<TripSeen> trips) {
  GearStudy out;
  out.seen = std::move(seen);
  out.trips = std::move(trips);
  for (const Part& part : profile.parts)
    if (part.pressure_switch()) judge_switch(profile, part, out, out.findings);
  for (const TripSeen& trip : out.trips) judge_trip(profile, trip, out.findings);
  for (const GearSeen& row : out.seen) {
    judge_current(row, out.findings);
    judge_bad_coil(row, out.findings);
  }
  out.left_out = left_out_of(out);
  const auto near = too_near(profile, out.trips);
  out.left_out.insert(out.left_out.end(), near.begin(), near.end());
  const bool complete = all_seen(profile, out.seen) && anything_seen(out.seen) && near.empty();
  out.verdict = !out.findings.empty() ? inspection::Verdict::reject
                : complete            ? inspection::Verdict::accept
                                      : inspection::Verdict::hold;
  return out;
}

}  // namespace pinproof::lever
