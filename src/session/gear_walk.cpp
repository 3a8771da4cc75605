#include "session/gear_walk.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "inspection/checks/drive.h"
#include "lever/contact_states.h"
#include "quantity/error.h"
#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::session {
namespace {

constexpr const char* kCheck = "gear-table";
constexpr int kLooks = 8;       // at least, by relays: a switch that chatters shows
constexpr double kWatch_s = 4;  // at most, for one that has not followed
constexpr Duration kPulse{0.06}, kAfter{0.01};
constexpr Voltage kProbeRange{20};
constexpr double kRampFrom = 0.5, kRampTo = 1.15, kRampStep = 0.025;  // of the trip pressure
constexpr double kFastClock = 1000;  // a simulated bench on which no time can be told

bool holds(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

// Mean over the last quarter of the pulse.
double settled(const record::PulseCapture& capture, const std::vector<double>& samples) {
  const double driven_s = record::driven_s(capture);
  const auto at = [&](double share) {
    const double k = (share * driven_s - capture.start_s) / capture.interval_s;
    return static_cast<std::size_t>(std::clamp(k, 0.0, static_cast<double>(samples.size())));
  };
  const std::size_t from = at(0.75), to = at(0.98);
  return from < to ? mean_of(std::span(samples).subspan(from, to - from)) : NAN;
}

}  // namespace

GearWalk::GearWalk(const inspection::RunOptions& options, record::Record& record)
    : options_(options),
      record_(record),
      handling_(options),
      can_(inspection::capabilities_of(*options.bench, *options.instruments)) {
  for (auto& pair : network::contact_pairs(*options.profile)) {
    std::erase_if(pair.parts, [](const auto* part) { return !part->pressure_switch(); });
    if (pair.parts.empty()) continue;
    const auto leads = network::leads_of(*options.profile, *pair.parts.front());
    pairs_.push_back({std::move(pair), leads ? leads->wires_max_ohm : 0});
  }
}

void GearWalk::add(record::Event event) {
  record_.events.push_back(std::move(event));
  for (record::Listener* listener : options_.listeners) listener->on_event(record_.events.back());
}

GearWalk::States GearWalk::scan(const record::Condition& condition, const std::string& gear,
                                bool quick) {
  States out;
  for (const SwitchPair& pair : pairs_) {
    if (options_.stop.stop_requested()) throw Error(Fault::aborted, "stopped");
    std::vector<lever::ContactOhms> contacts;
    double most_ohm = 1;
    for (const auto* part : pair.at.parts) {
      const auto& one = *part->pressure_switch();
      contacts.push_back({one.closed_ohm, one.series_ohm});
      most_ohm = std::max(most_ohm, one.closed_ohm + (one.series_ohm ? one.series_ohm->high : 0));
    }
    inspection::OhmStep step;
    step.between = {{pair.at.from}, {pair.at.to}};
    step.expected = Resistance{most_ohm};
    step.enough = Resistance{quick ? 0 : options_.profile->open_ohm};
    try {
      const auto reading = handling_.measure().ohms({kCheck, pair.at.from, gear}, step, condition);
      // In the last look an open counts only in a range that reaches so far.
      const bool believed = quick || !reading.overload ||
                            reading.measured.in(Unit::ohm).range_end >= options_.profile->open_ohm;
      const std::string states = lever::states_of(
          contacts, pair.wires_ohm, options_.profile->open_ohm, reading.ohm_or_open());
      for (std::size_t k = 0; k < states.size(); ++k)
        out[pair.at.parts[k]->name] = believed ? states[k] : '?';
      add(reading);
    } catch (const bench::Detour& detour) {
      add(record::Skipped{
          {kCheck, pair.at.from, gear},
          detour.kind() == bench::DetourKind::skip ? detour.reason() : "gone past"});
    }
  }
  return out;
}

// Again and again, until each switch is where the table wants it or has had its time.
lever::GearSeen GearWalk::watch(const std::string& gear, const network::PackState& state) {
  lever::GearSeen out;
  out.gear = gear;
  const record::Condition condition = handling_.reach(state);
  const double begin_s = options_.now_s();
  const bool told = options_.bench->time_scale < kFastClock;
  bool followed = false;
  for (int looks = 0;; ++looks) {
    const double at_s = options_.now_s() - begin_s;
    const bool last = !can_.tie || (looks + 1 >= kLooks && (followed || at_s > kWatch_s));
    const States now = scan(condition, gear, !last);
    followed = true;
    for (const auto& [name, seen] : now) {
      auto& one = out.switches[name];
      const auto before = last_.find(name);
      if (before != last_.end() && before->second != seen && seen != '?') {
        ++one.changes;
        one.after_s = told ? at_s : 0;
      }
      last_[name] = one.state = seen;
      const auto closed =
          network::is_closed(*options_.profile, *options_.profile->find_part(name), state);
      followed = followed && closed && seen == (*closed ? 'c' : 'o');
    }
    if (last) break;  // a person reads once
  }
  return out;
}

lever::GearSeen GearWalk::look(const std::string& gear, const network::PackState& state) {
  try {
    return watch(gear, state);
  } catch (const bench::Detour& detour) {
    add(record::Skipped{{kCheck, gear, ""},
                        detour.kind() == bench::DetourKind::skip ? detour.reason() : "gone past"});
  }
  lever::GearSeen out;
  out.gear = gear;
  return out;
}

std::optional<double> GearWalk::coil_ohm(const profile::Part& coil) {
  const auto known = coil_ohm_.find(coil.name);
  if (known != coil_ohm_.end()) return known->second;
  auto& out = coil_ohm_[coil.name];
  const auto at = inspection::drive_terminals(*options_.profile, coil);
  if (!at) return out;
  inspection::OhmStep step;
  step.between = *at;
  step.expected = Resistance{coil.coil()->resistance_ohm.high};
  const auto reading = handling_.measure().ohms({kCheck, coil.name, "coil"}, step, {});
  add(reading);
  const Interval& limit = coil.coil()->resistance_ohm;
  if (const double ohm = reading.ohm_or_open(); ohm > 0.7 * limit.low && ohm < 1.5 * limit.high)
    out = ohm;
  return out;
}

// One more coil on the same supply: the least voltage and pulse that any of them allows.
void GearWalk::add_coil(const profile::Part& coil, const bench::Connection& at, double ohm,
                        Load& load) const {
  const auto limits = inspection::drive_limits(*options_.profile, coil, can_);
  auto& step = load.step;
  if (!holds(step.drive.high, at.high.front())) step.drive.high.push_back(at.high.front());
  if (!holds(step.drive.low, at.low.front())) step.drive.low.push_back(at.low.front());
  const bool first = step.coils.empty();
  step.voltage = first ? limits.voltage : std::min(step.voltage, limits.voltage);
  step.pulse =
      std::min(first ? kPulse : step.pulse, 0.9 * Duration{coil.coil()->energy.max_pulse_s});
  step.limit += limits.limit;
  step.coils.push_back(coil.name);
  load.siemens += 1 / ohm;
}

// Variable-force coils are left out: they never see the full supply voltage.
std::optional<GearWalk::Load> GearWalk::load_of(const profile::Gear& gear, lever::GearSeen& seen) {
  Load out;
  for (const std::string& name : gear.energised) {
    const profile::Part& coil = *options_.profile->find_part(name);
    if (coil.coil()->coil_class != profile::CoilClass::on_off) continue;
    const auto at = inspection::drive_terminals(*options_.profile, coil);
    const auto ohm = coil_ohm(coil);
    if (!at || !ohm) {
      if (at) seen.bad_coil = name;
      seen.not_driven = "coil " + name + (at ? " is bad" : " cannot be reached");
      return std::nullopt;
    }
    add_coil(coil, *at, *ohm, out);
  }
  auto& step = out.step;
  if (step.coils.empty()) return std::nullopt;
  if (step.limit > Current{can_.supply_max_A}) {
    seen.not_driven = "its coils together need more current than the supply gives";
    return std::nullopt;
  }
  step.probe = {{step.drive.high.front()}, {step.drive.low.front()}};
  step.after = kAfter, step.probe_range = kProbeRange;
  return out;
}

void GearWalk::drive(const profile::Gear& gear, lever::GearSeen& seen) {
  if (!can_.drive || !can_.tie) {
    seen.not_driven = "this bench drives no coils";
    return;
  }
  const auto load = load_of(gear, seen);
  if (!load) return;
  try {
    auto capture = handling_.drive({kCheck, gear.name, "coils"}, load->step, {});
    lever::take_pulse({settled(capture, capture.supply_V), settled(capture, capture.current_A),
                       capture.set_V, capture.limit_A, load->siemens},
                      seen);
    add(std::move(capture));
  } catch (const bench::Detour& detour) {
    seen.drive_refused = true;
    seen.not_driven =
        detour.kind() == bench::DetourKind::skip ? detour.reason() : "nobody stood clear";
  }
}

char GearWalk::state_at(const profile::Part& part, double pascal, double& measured_Pa) {
  auto& actuator = *options_.instruments->actuator;
  const bench::Patience patience(Duration{30}, options_.stop);
  actuator.air({part.pressure_switch()->element}, Pressure{pascal}, patience);
  record::Condition condition;
  condition.applied = {part.pressure_switch()->element};
  condition.pressure_Pa = pascal;
  const States states = scan(condition, "ramp", false);
  measured_Pa = actuator.measured(patience).value_or(Pressure{pascal}).si();
  return states.at(part.name);
}

// Up in small steps until it changes, and down again until it changes back.
lever::TripSeen GearWalk::ramp(const profile::Part& part) {
  const auto& wanted = *part.pressure_switch();
  lever::TripSeen out{part.name, std::nullopt, std::nullopt, kRampStep * wanted.trip_Pa};
  const char rest = wanted.rest == profile::Rest::closed ? 'c' : 'o';
  double pascal = kRampFrom * wanted.reset_Pa, measured = 0;
  for (; pascal <= kRampTo * wanted.trip_Pa && !out.trip_Pa; pascal += out.step_Pa)
    if (state_at(part, pascal, measured) != rest) out.trip_Pa = measured;
  for (; pascal >= kRampFrom * wanted.reset_Pa && out.trip_Pa && !out.reset_Pa;
       pascal -= out.step_Pa)
    if (state_at(part, pascal, measured) == rest) out.reset_Pa = measured;
  options_.instruments->actuator->air({}, Pressure{0},
                                      bench::Patience(Duration{30}, options_.stop));
  return out;
}

network::PackState GearWalk::state_in(const profile::Gear& gear, network::PackState rest) const {
  const profile::Profile& profile = *options_.profile;
  for (std::size_t p = 0; profile.lever && p < profile.lever->positions.size(); ++p)
    if (profile.lever->positions[p].name == gear.lever) rest.lever = p;
  // Only where a switch answers is there a port for the air.
  for (const std::string& element : gear.applied)
    if (std::any_of(pairs_.begin(), pairs_.end(), [&](const SwitchPair& pair) {
          return std::any_of(pair.at.parts.begin(), pair.at.parts.end(), [&](const auto* part) {
            return part->pressure_switch()->element == element;
          });
        }))
      rest.applied.push_back(element);
  return rest;
}

lever::GearStudy GearWalk::through_all() {
  const profile::Profile& profile = *options_.profile;
  network::PackState rest;
  if (profile.lever) rest.lever = 0;
  std::vector<lever::GearSeen> seen{look("", rest)};
  for (const profile::Gear& gear : profile.gears) {
    lever::GearSeen row = look(gear.name, state_in(gear, rest));
    drive(gear, row);
    seen.push_back(std::move(row));
  }
  handling_.reach(rest);
  std::vector<lever::TripSeen> trips;
  const bench::Patience patience(Duration{30}, options_.stop);
  if (can_.tie && options_.instruments->actuator->measured(patience))
    for (const auto& part : profile.parts)
      if (part.pressure_switch()) trips.push_back(ramp(part));
  return lever::study_gears(profile, std::move(seen), std::move(trips));
}

// A reading may be left out, and so may a gear. Air that stays on may not: whoever skips that has
// stopped the test, and the bench is made safe as after any other trouble.
lever::GearStudy GearWalk::walk() {
  try {
    return through_all();
  } catch (const bench::Detour& detour) {
    const bool skip = detour.kind() == bench::DetourKind::skip;
    throw Error(Fault::aborted, "lever and air were not brought back to rest: " +
                                    (skip ? detour.reason() : "the technician went back"));
  }
}

}  // namespace pinproof::session
