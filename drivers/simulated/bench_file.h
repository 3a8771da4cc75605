// The bench file that describes a simulated bench.
#pragma once

#include <string>
#include <vector>

#include "scpi/dialect.h"
#include "simulated/server.h"

namespace pinproof::simulated {

struct Served {
  std::string role;
  const scpi::Dialect* dialect;
  std::string address;
};

/// `relays`: address of the Modbus board, empty where there is none.
std::string bench_file(const SimulationOptions& options, const World& world,
                       const std::vector<Served>& served, const std::string& relays);

}  // namespace pinproof::simulated
