#include "modbus/context.h"

#include <modbus/modbus.h>

#include "link/address.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::modbus {
namespace {

constexpr std::string_view kTcp = "modbus-tcp://";
constexpr std::string_view kRtu = "modbus-rtu://";
constexpr std::string_view kWanted =
    "modbus-tcp://HOST:PORT?unit=1 or "
    "modbus-rtu:///dev/serial/by-id/NAME?baud=9600&parity=none&unit=1";

struct HostAndPort {
  std::string host, port;
};

HostAndPort host_and_port(const std::string& path, const std::string& address) {
  const auto colon = path.rfind(':');
  if (colon == std::string::npos || colon == 0)
    link::refuse_address(address, "no host or no port", kWanted);
  const std::string port = path.substr(colon + 1);
  const auto number = parse_number(port);
  if (!number || *number < 0 || *number > 65535)
    link::refuse_address(address, "port is not 1 to 65535", kWanted);
  return {path.substr(0, colon), port};
}

char parity_of(const link::AddressParts& parts, const std::string& address) {
  const auto it = parts.options.find("parity");
  if (it == parts.options.end() || it->second == "none") return 'N';
  if (it->second == "even") return 'E';
  if (it->second == "odd") return 'O';
  link::refuse_address(address, "parity is not none, even or odd", kWanted);
}

}  // namespace

void ModbusFree::operator()(_modbus* context) const noexcept {
  ::modbus_close(context);
  ::modbus_free(context);
}

ModbusContext make_context(const std::string& address) {
  ModbusContext out;
  int unit = 1;
  if (address.starts_with(kTcp)) {
    const auto parts = link::take_apart(address, kTcp, {"unit"}, kWanted);
    const HostAndPort at = host_and_port(parts.path, address);
    unit = link::number_option(parts, "unit", 0, 247, 1, address, kWanted);
    out.reset(::modbus_new_tcp_pi(at.host.c_str(), at.port.c_str()));
  } else if (address.starts_with(kRtu)) {
    const auto parts = link::take_apart(address, kRtu, {"unit", "baud", "parity"}, kWanted);
    if (!parts.path.starts_with('/'))
      link::refuse_address(address, "the path is not absolute", kWanted);
    unit = link::number_option(parts, "unit", 1, 247, 1, address, kWanted);
    const int baud = link::number_option(parts, "baud", 300, 921600, 9600, address, kWanted);
    out.reset(::modbus_new_rtu(parts.path.c_str(), baud, parity_of(parts, address), 8, 1));
  } else {
    link::refuse_address(address, "unknown kind", kWanted);
  }
  if (!out || ::modbus_set_slave(out.get(), unit) != 0)
    link::refuse_address(address, ::modbus_strerror(errno), kWanted);
  return out;
}

int tcp_port(const std::string& address) {
  if (!address.starts_with(kTcp)) return 0;
  const auto parts = link::take_apart(address, kTcp, {"unit"}, kWanted);
  return static_cast<int>(*parse_number(host_and_port(parts.path, address).port));
}

}  // namespace pinproof::modbus
