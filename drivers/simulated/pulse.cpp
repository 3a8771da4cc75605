#include "simulated/pulse.h"

#include <algorithm>
#include <cmath>

#include "simulated/world.h"

namespace pinproof::simulated {
namespace {

constexpr double kStep_s = 2e-6;        // CoilDynamics::step says why so short
constexpr double kLongestSweep_s = 20;  // a longer one would keep the whole bench waiting
constexpr double kSource_ohm = 0.03;    // of the supply and its leads
constexpr double kShunt_ohm = 0.1;      // of the fixture, as its bench file says
constexpr double kProbe_S = 1e-7;       // the digitiser's input
constexpr double kFoldback_ohm = 400;   // how hard the current limit pulls the voltage down
constexpr double kRise_s = 20e-6;       // of the supply's voltage
constexpr double kDiode_V = 0.75, kDiode_ohm = 0.05;  // a forward diode about an ampere
constexpr double kReversed_S = 1.6;                   // the same, as one conductance
constexpr double kBlocked_S = 1e-9;                   // a diode the right way round
constexpr double kCarries_A = 1e-4;      // less than that has decayed: nothing falls any more
constexpr double kOpensEach_s = 25e-3;   // between the openings of an intermittent winding
constexpr double kOpenFor_s = 5e-3;      // and how long one lasts
constexpr double kCopperZero_K = 234.5;  // IEC 60028: copper's ohms go with 234.5 + °C
constexpr double kCopperAt20_K = 254.5;  // the same at 20 °C

double clamp_of(const TrueCoil& coil) {
  const auto& wanted = coil.part->coil()->suppression;
  if (!clamps_itself(coil)) return World::kClamp_V;
  return kDiode_V + (wanted.kind == profile::SuppressionKind::zener ? wanted.zener_V : 0);
}

}  // namespace

bool clamps_itself(const TrueCoil& coil) {
  return coil.diode != DiodeState::missing &&
         coil.part->coil()->suppression.kind != profile::SuppressionKind::none;
}

double WatchedVoltage::at(double source_A, const std::vector<double>& coil_A) const {
  double out = by_source_A * source_A;
  for (std::size_t k = 0; k < coil_A.size(); ++k) out += by_coil_A[k] * coil_A[k];
  return out;
}

LinearNetwork::LinearNetwork(const Network& network, const Pack& pack,
                             const std::vector<TrueCoil*>& driven) {
  const auto unit = network.solve({{"end drive_high", "end drive_low", 1.0}});
  std::vector<std::map<std::string, double>> each;
  for (const TrueCoil* c : driven)  // a coil takes its current from its first node
    each.push_back(
        network.solve({{pack.inner(c->part->between[1]), pack.inner(c->part->between[0]), 1.0}}));
  const auto watch = [&](const std::string& a, const std::string& b) {
    WatchedVoltage out{unit.at(a) - unit.at(b), {}};
    for (const auto& v : each) out.by_coil_A.push_back(v.at(a) - v.at(b));
    return out;
  };
  for (const TrueCoil* c : driven)
    coil.push_back(watch(pack.inner(c->part->between[0]), pack.inner(c->part->between[1])));
  source = watch("end drive_high", "end drive_low");
  probe = watch("end probe_high", "end probe_low");
}

PulseTiming::PulseTiming(std::size_t points_wanted, std::size_t before, double interval)
    : points(std::min(points_wanted, static_cast<std::size_t>(kLongestSweep_s / interval))),
      pretrigger(std::min(before, points)),
      interval_s(interval),
      step_s(interval / std::ceil(interval / kStep_s)),
      stride(static_cast<std::size_t>(std::llround(interval / step_s))) {}

Pulse::Pulse(Pack& pack, std::vector<TrueCoil*> coils, std::vector<Branch> around,
             const PulseSource& source, const PulseTiming& timing)
    : pack_(pack),
      coils_(std::move(coils)),
      source_(source),
      timing_(timing),
      linear_(linear_network(std::move(around))),
      current_A_(coils_.size(), 0.0),
      away_s_(coils_.size(), 0.0),
      opens_(timing.step_s / kOpensEach_s) {
  for (const TrueCoil* c : coils_)
    dynamics_.emplace_back(*c, (kCopperZero_K + c->celsius) / kCopperAt20_K);
}

// A supply whose leads changed places drives the diodes.
LinearNetwork Pulse::linear_network(std::vector<Branch> branches) const {
  branches.push_back({"end probe_high", "end probe_low", kProbe_S});
  for (const TrueCoil* c : coils_) {
    const bool conducts =
        c->diode == DiodeState::reversed || (source_.swapped && clamps_itself(*c));
    branches.push_back({pack_.inner(c->part->between[0]), pack_.inner(c->part->between[1]),
                        conducts ? kReversed_S : kBlocked_S});
  }
  return {Network(branches), pack_, coils_};
}

PulseTraces Pulse::run(std::mt19937_64& random) {
  PulseTraces out;
  const auto trigger = static_cast<double>(timing_.pretrigger * timing_.stride);
  for (std::size_t n = 0; n < timing_.points * timing_.stride; ++n) {
    const double t = (static_cast<double>(n) - trigger) * timing_.step_s;
    const bool on = t >= 0 && t < source_.pulse_s;
    const SourceOutput now = on ? drive(t) : SourceOutput{};
    const double probe_V = step_coils(on, now.current_A, random);
    if (n % timing_.stride == 0) sample(on, now, probe_V, out);
  }
  return out;
}

double Pulse::open_voltage(double t) const {
  return source_.set_V * (std::min(1.0, t / kRise_s) *
                          (1 - source_.sag_percent / 100 * std::min(1.0, t / source_.pulse_s)));
}

// The source pushes a current through the network; solved for the voltage it must have, with its
// limit as a foldback.
Pulse::SourceOutput Pulse::drive(double t) const {
  const double open_V = open_voltage(t);
  const double back_V = linear_.source.at(0, current_A_);
  const double self = linear_.source.by_source_A;
  double out_A = (open_V - back_V) / (self + kSource_ohm + kShunt_ohm);
  if (out_A > source_.limit_A)
    out_A = (open_V - back_V + kFoldback_ohm * source_.limit_A) /
            (self + kSource_ohm + kShunt_ohm + kFoldback_ohm);
  out_A = std::max(out_A, 0.0);
  return {out_A, linear_.source.at(out_A, current_A_)};
}

bool Pulse::winding_whole(std::size_t k, std::mt19937_64& random) {
  if (coils_[k]->intermittent) {
    away_s_[k] -= timing_.step_s;
    if (away_s_[k] < 0 && opens_(random)) away_s_[k] = kOpenFor_s;
  }
  return !coils_[k]->open && away_s_[k] <= 0;
}

// One step of all coils; returns the voltage at the probe before it.
double Pulse::step_coils(bool on, double source_A, std::mt19937_64& random) {
  double probe_V = linear_.probe.at(source_A, current_A_);
  for (std::size_t k = 0; k < coils_.size(); ++k) {
    const bool whole = winding_whole(k, random);
    double volt = linear_.coil[k].at(source_A, current_A_);
    const bool carries = dynamics_[k].current() > kCarries_A;
    if (!on)
      volt = carries ? -(clamp_of(*coils_[k]) + kDiode_ohm * dynamics_[k].current())
                     : dynamics_[k].induced_V();
    dynamics_[k].step(volt, timing_.step_s, whole && (on || carries));
    // The probe sees the coil that it hangs on fall, and then what the plungers induce.
    const bool seen =
        carries ? linear_.probe.by_coil_A[k] != 0 : std::abs(volt) > std::abs(probe_V);
    if (!on && seen) probe_V = volt;
  }
  // Off, the current runs inside the coil and its diode, not through the network.
  for (std::size_t k = 0; k < coils_.size(); ++k) current_A_[k] = on ? dynamics_[k].current() : 0;
  return probe_V;
}

// With leads that changed places everything is seen upside down.
void Pulse::sample(bool on, const SourceOutput& drive, double probe_V, PulseTraces& out) const {
  double loop_A = drive.current_A;
  for (std::size_t k = 0; k < coils_.size() && !on; ++k)
    if (!clamps_itself(*coils_[k])) loop_A += std::max(0.0, dynamics_[k].current());
  const double sign = source_.swapped ? -1 : 1;
  const double shunt_ohm = kShunt_ohm * (1 + source_.wrong_shunt_percent / 100);
  out.probe_V.push_back(sign * probe_V);
  out.shunt_V.push_back(sign * shunt_ohm * loop_A);
  out.supply_V.push_back(on ? sign * (drive.voltage_V + kShunt_ohm * drive.current_A) : 0);
}

// What is left of a pulse after the sweep heats on with the last current.
std::map<std::string, double> Pulse::heat() {
  const double swept_s =
      static_cast<double>(timing_.points - timing_.pretrigger) * timing_.interval_s;
  const double rest_s = std::max(0.0, source_.pulse_s - swept_s);
  std::map<std::string, double> energy_J;
  for (std::size_t k = 0; k < coils_.size(); ++k) {
    const double joule =
        dynamics_[k].heat_J() + rest_s * current_A_[k] * current_A_[k] * pack_.coil_ohm(*coils_[k]);
    pack_.heat(*coils_[k], joule);
    energy_J[coils_[k]->part->name] = joule;
  }
  return energy_J;
}

}  // namespace pinproof::simulated
