// The simulated bench: five SCPI devices on TCP ports of the loopback, behind
// one pack.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "profile/profile.h"

namespace pinproof::simulated {

struct Options {
  profile::Profile profile;
  std::uint64_t seed = 1;           ///< which good pack, its instruments and their noise
  std::vector<std::string> faults;  ///< "coil B: shorted-turns 10%"
  double speed = 0;                 ///< simulated seconds a wall second; 0: no waiting
  int first_port = 0;               ///< of five; 0: free ones
  std::string dialect_folder;
};

class Bench {
 public:
  /// Throws Error(Fault::usage) for a fault that cannot be.
  explicit Bench(Options options);
  ~Bench();
  Bench(const Bench&) = delete;
  Bench& operator=(const Bench&) = delete;

  /// Listens on 127.0.0.1, serves on a thread of its own.
  void start();
  void stop();
  /// The bench file for this bench; after start().
  std::string bench_file() const;

 private:
  struct Server;
  std::unique_ptr<Server> server_;
};

}  // namespace pinproof::simulated
