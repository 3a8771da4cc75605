// A Modbus relay board in front of the simulated pack: coil number
// (row - 1) * 64 + column closes that crosspoint.
#pragma once

#include <memory>
#include <mutex>
#include <string>

#include "simulated/world.h"

namespace pinproof::simulated {

class RelayBoard {
 public:
  /// `address`: "modbus-tcp://127.0.0.1:PORT" (0: a free one) or
  /// "modbus-rtu:///dev/...?baud=9600". Serves on a thread of its own and holds
  /// `mutex` while it touches the world. Throws Error(Fault::usage).
  RelayBoard(World& world, std::mutex& mutex, const std::string& address);
  ~RelayBoard();
  RelayBoard(const RelayBoard&) = delete;
  RelayBoard& operator=(const RelayBoard&) = delete;

  /// With the port it really listens on.
  const std::string& address() const;

 private:
  struct BoardServer;
  std::unique_ptr<BoardServer> server_;
};

}  // namespace pinproof::simulated
