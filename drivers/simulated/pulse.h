// One pulse of the supply into the pack: the coils' own equations, joined by the network around
// them, as supply, shunt and probe see them.
#pragma once

#include <cstddef>
#include <map>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "simulated/coil_dynamics.h"
#include "simulated/network.h"
#include "simulated/pack.h"

namespace pinproof::simulated {

/// A voltage in the network while it does not change: a row of coefficients on the source's
/// current and on those of the coils.
struct WatchedVoltage {
  double by_source_A = 0;
  std::vector<double> by_coil_A;
  double at(double source_A, const std::vector<double>& coil_A) const;
};

/// What a pulse needs of the network, which is linear.
struct LinearNetwork {
  std::vector<WatchedVoltage> coil;
  WatchedVoltage source, probe;
  LinearNetwork(const Network& network, const Pack& pack, const std::vector<TrueCoil*>& driven);
};

/// How the supply, its leads and the fixture behave during a pulse.
struct PulseSource {
  double set_V = 0, limit_A = 0, pulse_s = 0;
  double sag_percent = 0;          ///< what it loses of its voltage, evenly over the pulse
  double wrong_shunt_percent = 0;  ///< the shunt has that much more than it says
  bool swapped = false;            ///< its leads changed places
};

/// What the digitiser took: one value a sample.
struct PulseTraces {
  std::vector<double> probe_V, shunt_V, supply_V;
};

/// When samples are taken, and the steps between them.
struct PulseTiming {
  std::size_t points = 0, pretrigger = 0;
  double interval_s = 0;
  double step_s = 0;
  std::size_t stride = 1;  ///< steps a sample
  /// Bounded, so that one long sweep does not keep the whole bench waiting.
  PulseTiming(std::size_t points, std::size_t pretrigger, double interval_s);
  double length_s() const { return static_cast<double>(points) * interval_s; }
};

class Pulse {
 public:
  /// `coils`: those that are integrated; `around`: what conducts but their windings, the fixture
  /// included. All must outlive the pulse.
  Pulse(Pack& pack, std::vector<TrueCoil*> coils, std::vector<Branch> around,
        const PulseSource& source, const PulseTiming& timing);

  PulseTraces run(std::mt19937_64& random);
  /// Warms the coils; joules by the coil's name.
  std::map<std::string, double> heat();

 private:
  struct SourceOutput {
    double current_A = 0, voltage_V = 0;
  };
  LinearNetwork linear_network(std::vector<Branch> branches) const;
  SourceOutput drive(double t) const;
  double open_voltage(double t) const;
  double step_coils(bool on, double source_A, std::mt19937_64& random);
  bool winding_whole(std::size_t k, std::mt19937_64& random);
  void sample(bool on, const SourceOutput& drive, double probe_V, PulseTraces& out) const;

  Pack& pack_;
  std::vector<TrueCoil*> coils_;
  PulseSource source_;
  PulseTiming timing_;
  LinearNetwork linear_;
  std::vector<CoilDynamics> dynamics_;
  std::vector<double> current_A_;  // through the network: off, a coil keeps its own to itself
  std::vector<double> away_s_;     // how long an intermittent winding stays open yet
  std::bernoulli_distribution opens_;
};

/// Whether the coil's current circles inside the pack when the supply lets go. Without a diode of
/// its own it falls into the fixture's clamp, through the shunt.
bool clamps_itself(const TrueCoil& coil);

}  // namespace pinproof::simulated
