// A libmodbus context from an address. libmodbus's own header stays in the
// sources of this folder and of the simulated board.
#pragma once

#include <memory>
#include <string>

struct _modbus;

namespace pinproof::modbus {

struct ModbusFree {
  void operator()(_modbus* context) const noexcept;
};
using ModbusContext = std::unique_ptr<_modbus, ModbusFree>;

/// "modbus-tcp://HOST:PORT?unit=1" or
/// "modbus-rtu:///dev/serial/by-id/NAME?baud=9600&parity=none|even|odd&unit=1".
/// Not connected yet. Throws Error(Fault::usage).
ModbusContext make_context(const std::string& address);

/// Port of a "modbus-tcp:" address; 0 for the others.
int tcp_port(const std::string& address);

}  // namespace pinproof::modbus
