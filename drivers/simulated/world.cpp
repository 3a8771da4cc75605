#include "simulated/world.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "simulated/coil_dynamics.h"

namespace pinproof::simulated {
namespace {

constexpr double kLead_ohm = 0.1;
constexpr double kDrive_ohm =
    1e5;  // bleeder across the drive rows: keeps them finite with nothing connected
constexpr double kSoaked_celsius = 80;
constexpr double kRow_S = 1e-11;  // insulation of the fixture's rows
constexpr double kReference_ohm = 100, kHighReference_ohm = 1e7;
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

std::optional<double> World::ohms(bool four_wire, double test_A, double most_V) {
  auto branches = pack_.branches();
  const auto around = fixture();
  branches.insert(branches.end(), around.begin(), around.end());
  const Network network(branches);
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
  auto branches = pack_.branches();
  const auto around = fixture();
  branches.insert(branches.end(), around.begin(), around.end());
  const Network network(branches);
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

// What a pulse needs of the network, which is linear and does not change while
// it lasts: each watched voltage as a row of coefficients on the source and the
// coil currents.
struct World::Transient {
  struct Watched {
    double by_source_A = 0;
    std::vector<double> by_coil_A;
    double at(double source_A, const std::vector<double>& coil_A) const {
      double out = by_source_A * source_A;
      for (std::size_t k = 0; k < coil_A.size(); ++k) out += by_coil_A[k] * coil_A[k];
      return out;
    }
  };
  std::vector<Watched> coil;
  Watched source, probe;

  Transient(const Network& network, const Pack& pack, const std::vector<TrueCoil*>& driven) {
    const auto unit = network.solve({{"end drive_high", "end drive_low", 1.0}});
    std::vector<std::map<std::string, double>> each;
    for (const TrueCoil* c : driven)  // a coil takes its current from its first node
      each.push_back(
          network.solve({{pack.inner(c->part->between[1]), pack.inner(c->part->between[0]), 1.0}}));
    const auto watch = [&](const std::string& a, const std::string& b) {
      Watched out{unit.at(a) - unit.at(b), {}};
      for (const auto& v : each) out.by_coil_A.push_back(v.at(a) - v.at(b));
      return out;
    };
    for (const TrueCoil* c : driven)
      coil.push_back(watch(pack.inner(c->part->between[0]), pack.inner(c->part->between[1])));
    source = watch("end drive_high", "end drive_low");
    probe = watch("end probe_high", "end probe_low");
  }
};

// Coils that carry a share of the supply's current worth integrating; the
// others stay resistors.
std::vector<TrueCoil*> World::driven_coils() {
  std::vector<TrueCoil*> out;
  auto branches = pack_.branches();
  const auto around = fixture();
  branches.insert(branches.end(), around.begin(), around.end());
  branches.push_back({"end drive_high", "end drive_low", 1 / kDrive_ohm});
  const Network network(branches);
  const auto v = network.solve({{"end drive_high", "end drive_low", 1.0}});
  for (TrueCoil& coil : pack_.coils()) {
    const double volt =
        v.at(pack_.inner(coil.part->between[0])) - v.at(pack_.inner(coil.part->between[1]));
    if (!coil.open && volt / pack_.coil_ohm(coil) > 0.01) out.push_back(&coil);
  }
  return out;
}

namespace {

constexpr double kStep_s = 2e-6;
constexpr double kLongestSweep_s = 20;  // a longer one would keep the whole bench waiting
constexpr double kSource_ohm = 0.03;
constexpr double kShunt_ohm = 0.1;
constexpr double kProbe_S = 1e-7;      // the digitiser's input
constexpr double kFoldback_ohm = 400;  // how hard the current limit pulls the voltage down
constexpr double kRise_s = 20e-6;
constexpr double kDiode_V = 0.75, kDiode_ohm = 0.05;
constexpr double kReversed_S = 1.6;  // a forward diode at about an ampere

// Without a diode of its own the coil falls into the fixture's clamp, through
// the shunt; with one its current circles inside the pack, unseen by the shunt.
bool clamps_itself(const TrueCoil& coil) {
  return coil.diode != Diode::missing &&
         coil.part->coil()->suppression.kind != profile::Suppression::Kind::none;
}

double clamp_of(const TrueCoil& coil) {
  const auto& wanted = coil.part->coil()->suppression;
  if (!clamps_itself(coil)) return World::kClamp_V;
  return kDiode_V + (wanted.kind == profile::Suppression::Kind::zener ? wanted.zener_V : 0);
}

}  // namespace

// A supply that cannot keep its voltage loses it evenly over the pulse.
double World::source_share(double t) const {
  return std::min(1.0, t / kRise_s) *
         (1 - bench_fault("supply-sag") / 100 * std::min(1.0, t / pulse_s));
}

// The source pushes a current through the network; solved for the voltage it
// must have, with its limit as a foldback. A supply whose leads changed places
// drives the diodes, and everything is seen upside down.
void World::run_pulse(bool tell) {
  if (tell) tell_output(true, 0, {});
  const std::vector<TrueCoil*> coils = driven_coils();
  std::set<std::string> names;
  for (const TrueCoil* c : coils) names.insert(c->part->name);
  auto branches = pack_.branches(names);
  const auto around = fixture();
  branches.insert(branches.end(), around.begin(), around.end());
  branches.push_back({"end drive_high", "end drive_low", 1 / kDrive_ohm});
  branches.push_back({"end probe_high", "end probe_low", kProbe_S});
  for (const TrueCoil* c : coils) {
    const std::string a = pack_.inner(c->part->between[0]), b = pack_.inner(c->part->between[1]);
    const bool conducts =
        c->diode == Diode::reversed || (has_bench_fault("supply-swapped") && clamps_itself(*c));
    branches.push_back({a, b, conducts ? kReversed_S : 1e-9});
  }
  const Network network(branches);
  const Transient linear(network, pack_, coils);
  std::vector<CoilDynamics> dynamics;
  for (const TrueCoil* c : coils) dynamics.emplace_back(*c, (234.5 + c->celsius) / 254.5);

  SweepSettings settings = sweep;
  settings.points =
      std::min(settings.points, static_cast<std::size_t>(kLongestSweep_s / settings.interval_s));
  settings.pretrigger = std::min(settings.pretrigger, settings.points);
  const double dt = settings.interval_s / std::ceil(settings.interval_s / kStep_s);
  const auto stride = static_cast<std::size_t>(std::llround(settings.interval_s / dt));
  std::vector<double> probe, shunt, supply;
  std::vector<double> current(coils.size(), 0.0);
  std::bernoulli_distribution opens(dt / 25e-3);
  std::vector<double> away_s(coils.size(), 0.0);
  const std::size_t steps = settings.points * stride;
  const double sign = has_bench_fault("supply-swapped") ? -1 : 1;
  const double shunt_ohm = kShunt_ohm * (1 + bench_fault("wrong-shunt") / 100);
  for (std::size_t n = 0; n < steps; ++n) {
    const double t =
        (static_cast<double>(n) - static_cast<double>(settings.pretrigger * stride)) * dt;
    const bool on = t >= 0 && t < pulse_s;
    double source_A = 0, source_V = 0;
    if (on) {
      const double open_V = set_V * source_share(t);
      const double back_V = linear.source.at(0, current);
      const double self = linear.source.by_source_A;
      source_A = (open_V - back_V) / (self + kSource_ohm + kShunt_ohm);
      if (source_A > limit_A)
        source_A = (open_V - back_V + kFoldback_ohm * limit_A) /
                   (self + kSource_ohm + kShunt_ohm + kFoldback_ohm);
      source_A = std::max(source_A, 0.0);
      source_V = linear.source.at(source_A, current);
    }
    double probe_V = linear.probe.at(source_A, current);
    for (std::size_t k = 0; k < coils.size(); ++k) {
      const TrueCoil& c = *coils[k];
      if (c.intermittent) {
        away_s[k] -= dt;
        if (away_s[k] < 0 && opens(random_)) away_s[k] = 5e-3;
      }
      const bool whole = !c.open && away_s[k] <= 0;
      double volt = linear.coil[k].at(source_A, current);
      const bool carries = dynamics[k].current() > 1e-4;
      if (!on)
        volt =
            carries ? -(clamp_of(c) + kDiode_ohm * dynamics[k].current()) : dynamics[k].induced_V();
      dynamics[k].step(volt, dt, whole && (on || carries));
      if (!on && carries && linear.probe.by_coil_A[k] != 0)
        probe_V = volt;  // the probe sees the driven coil fall
      if (!on && !carries && std::abs(volt) > std::abs(probe_V)) probe_V = volt;
    }
    // Off, the current runs inside the coil and its diode, not through the network.
    for (std::size_t k = 0; k < coils.size(); ++k) current[k] = on ? dynamics[k].current() : 0;
    if (n % stride != 0) continue;
    double loop_A = source_A;
    for (std::size_t k = 0; k < coils.size() && !on; ++k)
      if (!clamps_itself(*coils[k])) loop_A += std::max(0.0, dynamics[k].current());
    probe.push_back(sign * probe_V), shunt.push_back(sign * shunt_ohm * loop_A),
        supply.push_back(on ? sign * (source_V + kShunt_ohm * source_A) : 0);
  }
  // What is left of a pulse after the sweep heats on with the last current.
  const double swept_s =
      static_cast<double>(settings.points - settings.pretrigger) * settings.interval_s;
  const double rest_s = std::max(0.0, pulse_s - swept_s);
  std::map<std::string, double> energy_J;
  for (std::size_t k = 0; k < coils.size(); ++k) {
    const double joule =
        dynamics[k].heat_J() + rest_s * current[k] * current[k] * pack_.coil_ohm(*coils[k]);
    pack_.heat(*coils[k], joule);
    energy_J[coils[k]->part->name] = joule;
  }
  tell_output(false, pulse_s, energy_J);
  if (settings.armed) {
    sampled_["101"] = std::move(probe), sampled_["102"] = std::move(shunt),
    sampled_["103"] = std::move(supply);
    sweep.armed = false;
  }
  advance(static_cast<double>(settings.points) * settings.interval_s);
}

}  // namespace pinproof::simulated
