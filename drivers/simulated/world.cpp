#include "simulated/world.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "simulated/pulse.h"

namespace pinproof::simulated {
namespace {

constexpr double kLead_ohm = 0.1;   // of each row's lead
constexpr double kDrive_ohm = 1e5;  // bleeder across the drive rows: finite with nothing connected
constexpr double kShareWorth = 0.01;    // of the supply's current: less is no driven coil
constexpr double kSoaked_celsius = 80;  // a pack that was warmed through
constexpr double kRow_S = 1e-11;        // insulation of the fixture's rows
constexpr double kReference_ohm = 100, kHighReference_ohm = 1e7;  // resistors of the fixture
constexpr std::array<const char*, World::kRowCount> kRows{"force_high", "force_low",  "sense_high",
                                                          "sense_low",  "drive_high", "drive_low",
                                                          "probe_high", "probe_low"};

std::string row_node(std::size_t row) { return std::string("row ") + kRows[row - 1]; }

}  // namespace

World::World(profile::Profile profile, std::uint64_t seed, const std::vector<PackFault>& faults)
    : pack_(std::move(profile), seed, faults), random_(seed * 7919 + 17) {
  for (const PackFault& fault : faults)
    if (fault.kind->applies_to == "bench") bench_faults_[std::string(fault.kind->name)] = fault;
  std::size_t n = 0;
  for (const auto& pin : pack_.profile().connector.pins) columns_[std::to_string(++n)] = pin.number;
  columns_[std::to_string(++n)] = profile::kCase;
  columns_[std::to_string(++n)] = "reference+";
  columns_[std::to_string(++n)] = "reference-";
  std::uniform_real_distribution<double> contact(0.03, 0.08);
  for (std::size_t row = 1; row <= kRows.size(); ++row)
    for (const auto& [column, node] : columns_)
      relay_ohm_[std::to_string(row) + "!" + column] = contact(random_);
  // Drawn last: the seeds of all that was there before keep their packs.
  std::mt19937_64 more(seed * 7919 + 18);
  for (const char* end : {"high reference+", "high reference-"}) {
    columns_[std::to_string(++n)] = end;
    for (std::size_t row = 1; row <= kRows.size(); ++row)
      relay_ohm_[std::to_string(row) + "!" + std::to_string(n)] = contact(more);
  }
}

const PackFault* World::at_work(std::string_view kind) const {
  const auto it = bench_faults_.find(kind);
  return it == bench_faults_.end() || readings_ < it->second.from ? nullptr : &it->second;
}

double World::bench_fault(std::string_view kind) const {
  const PackFault* fault = at_work(kind);
  return fault ? fault->size : 0;
}

bool World::restarted() {
  if (!restarted_ && has_bench_fault("reset")) restarted_ = true, open_all();
  return restarted_;
}

double World::gaussian(double sd) { return std::normal_distribution<double>(0, 1)(random_) * sd; }

double World::ambient() const { return 23 + 0.2 * std::sin(time_s_ / 300); }

void World::advance(double seconds) {
  time_s_ += seconds;
  pack_.cool(seconds, ambient());
}

std::size_t World::column_of(const std::string& node) const {
  for (const auto& [column, there] : columns_)
    if (there == node) return std::stoul(column);
  throw std::out_of_range("no column for " + node);
}

bool World::known_channel(const std::string& channel) const { return relay_ohm_.contains(channel); }

// What the relays do, whatever they were told.
std::set<std::string> World::closed_now() const {
  std::set<std::string> closed(closed_);
  if (const PackFault* welded = at_work("relay-welded")) closed.insert(welded->other);
  if (const PackFault* open = at_work("relay-open")) closed.erase(open->other);
  return closed;
}

// Relays, leads and the reference resistor around the pack.
std::vector<Branch> World::fixture() const {
  std::vector<Branch> out{{"reference+", "reference-", 1 / kReference_ohm},
                          {"high reference+", "high reference-", 1 / kHighReference_ohm}};
  for (const std::string& channel : closed_now()) {
    const auto row = static_cast<std::size_t>(channel[0] - '0');
    out.push_back({row_node(row), columns_.at(channel.substr(2)), 1 / relay_ohm_.at(channel)});
  }
  for (std::size_t row = 1; row <= kRows.size(); ++row) {
    const bool broken = row == 3 && has_bench_fault("sense-open");
    const double bad = row == 1 ? bench_fault("lead-resistance") : 0;
    out.push_back({row_node(row), std::string("end ") + kRows[row - 1],
                   broken ? kRow_S : 1 / (kLead_ohm + bad)});
    out.push_back({std::string("end ") + kRows[row - 1], std::string(profile::kCase), kRow_S});
  }
  return out;
}

// All that conducts, but for the windings of the coils named.
std::vector<Branch> World::wired(const std::set<std::string>& without_coils) {
  auto branches = pack_.branches(without_coils);
  const auto around = fixture();
  branches.insert(branches.end(), around.begin(), around.end());
  return branches;
}

std::optional<double> World::ohms(bool four_wire, double test_A, double most_V) {
  const Network network(wired());
  const auto v = network.solve({{"end force_high", "end force_low", test_A}});
  if (std::abs(v.at("end force_high") - v.at("end force_low")) > most_V) return std::nullopt;
  if (!four_wire) return (v.at("end force_high") - v.at("end force_low")) / test_A;
  // A sense lead that hangs in the air picks up nothing a meter would show.
  const auto closed = closed_now();
  const auto senses = [&](char row) {
    return std::any_of(closed.begin(), closed.end(),
                       [row](const std::string& c) { return c[0] == row; });
  };
  if (!senses('3') || !senses('4') || has_bench_fault("sense-open")) return std::nullopt;
  const double sign = has_bench_fault("sense-swapped") ? -1 : 1;
  return sign * (v.at("end sense_high") - v.at("end sense_low")) / test_A;
}

// The supply's current into the drive rows and the node voltages, all coils
// settled; a limit lowers the voltage until it holds.
std::map<std::string, double> World::standing(double& source_A) {
  const Network network(wired());
  const auto unit = network.solve({{"end drive_high", "end drive_low", 1.0}});
  const double ohm = unit.at("end drive_high") - unit.at("end drive_low");
  source_A = output_ ? std::min(set_V / ohm, limit_A) : 0;
  return network.solve({{"end drive_high", "end drive_low", source_A}});
}

double World::volts() {
  double source_A = 0;
  const auto v = standing(source_A);
  return v.at("end force_high") - v.at("end force_low");
}

double World::supply_current() {
  double source_A = 0;
  standing(source_A);
  return source_A;
}

const std::vector<double>* World::channel(const std::string& name) const {
  const auto it = sampled_.find(name);
  return it == sampled_.end() ? nullptr : &it->second;
}

void World::lever(std::size_t position) {
  pack_.move_lever(position);
  advance(0.5);
}

std::vector<std::string> World::elements() const {
  std::vector<std::string> out;
  for (const auto& part : pack_.profile().parts)
    if (part.pressure_switch() &&
        std::find(out.begin(), out.end(), part.pressure_switch()->element) == out.end())
      out.push_back(part.pressure_switch()->element);
  return out;
}

void World::soak(bool hot) {
  pack_.soak(hot ? std::optional(kSoaked_celsius) : std::nullopt);
  advance(hot ? 0 : 7200);
}

void World::valves(const std::set<std::string>& open, double pascal) {
  std::map<std::string, double> at;
  const auto all = elements();
  for (std::size_t i = 0; i < all.size(); ++i)
    if (open.contains(std::to_string(i + 1))) at[all[i]] = pascal;
  pack_.press(std::move(at));
  advance(0.2);
}

void World::switch_output(bool on) {
  const auto now = std::chrono::steady_clock::now();
  if (on == output_) return;
  output_ = on;
  if (on) {
    output_since_ = now;
    tell_output(true, 0, {});
  } else {
    pulse_s = std::chrono::duration<double>(now - output_since_).count();
    run_pulse(false);
  }
}

void World::tell_output(bool on, double on_s, const std::map<std::string, double>& energy_J) {
  if (!on_output) return;
  const auto now = std::chrono::steady_clock::now().time_since_epoch();
  OutputEvent event{on, std::chrono::duration<double>(now).count(), on_s, {}};
  for (const TrueCoil& coil : pack_.coils()) {
    const auto it = energy_J.find(coil.part->name);
    if (it == energy_J.end()) continue;
    const auto& energy = coil.part->coil()->energy;
    event.coils.push_back(
        {it->first, it->second,
         energy.max_current_A * energy.max_current_A * coil.ohm20 * energy.max_pulse_s,
         coil.celsius});
  }
  on_output(event);
}

// Coils that carry a share of the supply's current worth integrating; the
// others stay resistors.
std::vector<TrueCoil*> World::driven_coils() {
  std::vector<TrueCoil*> out;
  auto branches = wired();
  branches.push_back({"end drive_high", "end drive_low", 1 / kDrive_ohm});
  const Network network(branches);
  const auto v = network.solve({{"end drive_high", "end drive_low", 1.0}});
  for (TrueCoil& coil : pack_.coils()) {
    const double volt =
        v.at(pack_.inner(coil.part->between[0])) - v.at(pack_.inner(coil.part->between[1]));
    if (!coil.open && volt / pack_.coil_ohm(coil) > kShareWorth) out.push_back(&coil);
  }
  return out;
}

void World::run_pulse(bool tell) {
  if (tell) tell_output(true, 0, {});
  const std::vector<TrueCoil*> coils = driven_coils();
  std::set<std::string> names;
  for (const TrueCoil* c : coils) names.insert(c->part->name);
  auto around = wired(names);
  around.push_back({"end drive_high", "end drive_low", 1 / kDrive_ohm});
  const PulseSource source{set_V,
                           limit_A,
                           pulse_s,
                           bench_fault("supply-sag"),
                           bench_fault("wrong-shunt"),
                           has_bench_fault("supply-swapped")};
  const PulseTiming timing(sweep.points, sweep.pretrigger, sweep.interval_s);
  Pulse pulse(pack_, coils, std::move(around), source, timing);
  PulseTraces traces = pulse.run(random_);
  tell_output(false, pulse_s, pulse.heat());
  if (sweep.armed) {
    sampled_["101"] = std::move(traces.probe_V);
    sampled_["102"] = std::move(traces.shunt_V);
    sampled_["103"] = std::move(traces.supply_V);
    sweep.armed = false;
  }
  advance(timing.length_s());
}

}  // namespace pinproof::simulated
