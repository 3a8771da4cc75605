// The pack on its fixture: relays, supply, air, lever and simulated time. What
// the instruments have in common. Time moves by what they do, never by the wall
// clock, so a seed repeats a run to the bit.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "simulated/network.h"
#include "simulated/pack.h"

namespace pinproof::simulated {

struct SweepSettings {
  std::size_t points = 1000;
  double interval_s = 1e-5;
  std::size_t pretrigger = 0;
  std::map<std::string, double> range_V;  ///< by channel
  bool armed = false;
};

/// What the supply did to the pack: the simulator's own account, for tests of
/// safe energising.
struct OutputEvent {
  bool on = false;
  double wall_s = 0;  ///< of the monotonic clock, comparable between processes
  double on_s = 0;    ///< how long it was on, by the wall clock or the pulse's own
  struct EnergisedCoil {
    std::string name;
    double energy_J = 0;  ///< in this pulse
    double budget_J = 0;  ///< I max^2 R max pulse, by the profile
    double celsius = 0;   ///< after it
  };
  std::vector<EnergisedCoil> coils;
};

class World {
 public:
  static constexpr double kClamp_V = 33;  ///< of the fixture's drive switch
  World(profile::Profile profile, std::uint64_t seed, const std::vector<PackFault>& faults);

  const profile::Profile& profile() const { return pack_.profile(); }
  /// Seconds since the start; advancing cools the coils.
  void advance(double seconds);
  double elapsed() const { return time_s_; }
  double ambient() const;

  // Relays "row!column".
  static constexpr std::size_t kRowCount = 8;
  static std::string crosspoint(std::size_t row, std::size_t column) {
    return std::to_string(row) + "!" + std::to_string(column);
  }
  bool known_channel(const std::string& channel) const;
  void close(const std::string& channel) { closed_.insert(channel); }
  void open(const std::string& channel) { closed_.erase(channel); }
  void open_all() { closed_.clear(); }
  bool is_closed(const std::string& channel) const { return closed_.contains(channel); }
  std::size_t columns() const { return columns_.size(); }
  /// Throws std::out_of_range for what has none.
  std::size_t column_of(const std::string& node) const;

  // Meter. nullopt: nothing that could be read (open, or beyond `most`).
  std::optional<double> ohms(bool four_wire, double test_A, double most_V);
  double volts();
  double supply_current();

  // Supply and digitiser.
  double set_V = 0, limit_A = 1, pulse_s = 0.01;
  SweepSettings sweep;
  /// A pulse that the supply times itself, in simulated time.
  void pulse() { run_pulse(true); }
  bool output() const { return output_; }
  /// A pulse that somebody else times: as long as the wall clock says, at any speed.
  void switch_output(bool on);
  std::function<void(const OutputEvent&)> on_output;
  const std::vector<double>* channel(const std::string& name) const;

  // Actuator.
  void lever(std::size_t position);
  void valves(const std::set<std::string>& open, double pascal);
  std::vector<std::string> elements() const;
  void plug(bool plugged) { pack_.plug(plugged); }
  void soak(bool hot);

  /// Whether a bench fault is at work by now, its size (0 where it is not), and its relay.
  bool has_bench_fault(std::string_view kind) const { return at_work(kind) != nullptr; }
  double bench_fault(std::string_view kind) const;
  /// The meter is asked once more: bench faults begin by this count.
  void count_reading() { ++readings_; }
  /// True once the instruments have restarted; all relays are open then.
  bool restarted();
  std::mt19937_64& random() { return random_; }
  double gaussian(double sd);

 private:
  void run_pulse(bool tell);
  void tell_output(bool on, double on_s, const std::map<std::string, double>& energy_J);
  std::vector<Branch> fixture() const;
  std::vector<Branch> wired(const std::set<std::string>& without_coils = {});
  std::vector<TrueCoil*> driven_coils();
  std::map<std::string, double> standing(double& source_A);

  const PackFault* at_work(std::string_view kind) const;
  std::set<std::string> closed_now() const;

  Pack pack_;
  std::map<std::string, PackFault, std::less<>> bench_faults_;
  unsigned readings_ = 0;
  bool restarted_ = false;
  std::map<std::string, std::string> columns_;  // column number -> node
  std::set<std::string> closed_;
  std::map<std::string, double> relay_ohm_;
  std::map<std::string, std::vector<double>> sampled_;
  double time_s_ = 0;
  bool output_ = false;
  std::chrono::steady_clock::time_point output_since_;
  std::mt19937_64 random_;
};

}  // namespace pinproof::simulated
