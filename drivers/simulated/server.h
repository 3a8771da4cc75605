// The simulated bench: five SCPI devices behind one pack, on TCP ports of the
// loopback or on pseudo-terminals, and a Modbus relay board where one is wanted.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "profile/profile.h"
#include "simulated/world.h"

namespace pinproof::simulated {

struct SimulationOptions {
  profile::Profile profile;
  std::uint64_t seed = 1;           ///< which good pack, its instruments and their noise
  std::vector<std::string> faults;  ///< "coil B: shorted-turns 10%"
  double speed = 0;                 ///< simulated seconds a wall second; 0: no waiting
  int first_port = 0;               ///< of five; 0: free ones
  std::string dialect_folder;
  std::map<std::string, std::string> dialects = {};  ///< by role, where not the common one
  std::set<std::string> on_pty = {};  ///< roles on a pseudo-terminal instead of a port
  std::string relays = {};            ///< address of a Modbus relay board; empty: none
  std::string bench_by = "matrix";    ///< what the bench file connects with: matrix, modbus, hand
  std::function<void(const OutputEvent&)> on_output = {};
};

class SimulatedBench {
 public:
  /// Throws Error(Fault::usage) for a fault that cannot be.
  explicit SimulatedBench(SimulationOptions options);
  ~SimulatedBench();
  SimulatedBench(const SimulatedBench&) = delete;
  SimulatedBench& operator=(const SimulatedBench&) = delete;

  /// Listens on 127.0.0.1, serves on a thread of its own.
  void start();
  void stop();
  /// The bench file for this bench; after start().
  std::string bench_file() const;
  /// Where an instrument listens: "tcp://127.0.0.1:40001"; after start().
  std::string address(const std::string& role) const;

  // Hands at this bench, for who has no instrument to move it with.
  /// Two probes on these nodes; both empty: in the air.
  void probes(const std::string& red, const std::string& black);
  void lever(std::size_t position);
  void air(const std::vector<std::string>& elements, double pascal);
  double ambient_celsius();

 private:
  struct BenchServer;
  std::unique_ptr<BenchServer> server_;
};

}  // namespace pinproof::simulated
