// A serial line, 8N1 and raw, at any rate. A pseudo-terminal is one too.
#include <asm/ioctls.h>
#include <asm/termbits.h>  // termios2: rates beyond the classic table (not with <termios.h>)
#include <fcntl.h>
#include <sys/file.h>
#include <sys/ioctl.h>

#include <cerrno>
#include <cstring>
#include <optional>

#include "link/address.h"
#include "link/stream.h"

namespace pinproof::link {
namespace {

constexpr std::string_view kWanted =
    "serial:///dev/serial/by-id/NAME?baud=9600&rts=on|off&dtr=on|off (the options may be left out)";

struct Wires {
  int baud = 9600;
  std::optional<bool> rts, dtr;
};

class SerialLink final : public StreamLink {
 public:
  SerialLink(std::string address, std::string path, Wires wires)
      : StreamLink(std::move(address)), path_(std::move(path)), wires_(wires) {}

  bool late_replies_survive() const override { return true; }

 private:
  Descriptor connect(Deadline&) override;
  void set_rate(int port);
  void set_wire(int port, int bit, std::optional<bool> on, const char* name);
  // A lone end of file can pass; a port that no longer answers for its settings is gone.
  bool ended() override {
    struct termios2 now {};
    return ::ioctl(fd(), TCGETS2, &now) != 0;
  }
  std::string why_ended() override { return "the serial port is gone (unplugged?)"; }

  std::string path_;
  Wires wires_;
};

Descriptor SerialLink::connect(Deadline&) {
  Descriptor port(::open(path_.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
  if (!port.open()) {
    const std::string hint = errno == EACCES   ? " (on Debian, users of the group dialout may)"
                             : errno == ENOENT ? " (is it plugged in?)"
                                               : "";
    lose(Fault::bench, std::string("cannot open: ") + std::strerror(errno) + hint);
  }
  // Two programs on one line would each get half of the replies.
  if (::flock(port.get(), LOCK_EX | LOCK_NB) != 0)
    lose(Fault::bench, "another program uses this port");
  ::ioctl(port.get(), TIOCEXCL);
  set_rate(port.get());
  set_wire(port.get(), TIOCM_RTS, wires_.rts, "rts");
  set_wire(port.get(), TIOCM_DTR, wires_.dtr, "dtr");
  ::ioctl(port.get(), TCFLSH, TCIOFLUSH);  // what came before we listened
  return port;
}

void SerialLink::set_rate(int port) {
  struct termios2 line {};
  if (::ioctl(port, TCGETS2, &line) != 0) lose(Fault::bench, "is not a serial port");
  line.c_iflag = 0;
  line.c_oflag = 0;
  line.c_lflag = 0;
  line.c_cflag = CS8 | CREAD | CLOCAL | BOTHER;
  line.c_ispeed = line.c_ospeed = static_cast<speed_t>(wires_.baud);
  line.c_cc[VMIN] = 1;
  line.c_cc[VTIME] = 0;
  if (::ioctl(port, TCSETS2, &line) != 0)
    lose(Fault::bench,
         "the port refuses " + std::to_string(wires_.baud) + " baud, 8N1: " + std::strerror(errno));
}

void SerialLink::set_wire(int port, int bit, std::optional<bool> on, const char* name) {
  if (!on) return;
  if (::ioctl(port, *on ? TIOCMBIS : TIOCMBIC, &bit) != 0)
    lose(Fault::bench, std::string("the port has no ") + name + " to set");
}

std::optional<bool> on_off(const AddressParts& parts, const std::string& name,
                           const std::string& address) {
  const auto it = parts.options.find(name);
  if (it == parts.options.end()) return std::nullopt;
  if (it->second != "on" && it->second != "off")
    refuse_address(address, name + " is not on or off", kWanted);
  return it->second == "on";
}

std::unique_ptr<Link> open_serial(const std::string& address) {
  constexpr std::string_view kScheme = "serial://";
  if (!address.starts_with(kScheme)) refuse_address(address, "no path", kWanted);
  const auto parts = take_apart(address, kScheme, {"baud", "rts", "dtr"}, kWanted);
  if (!parts.path.starts_with('/')) refuse_address(address, "the path is not absolute", kWanted);
  Wires wires;
  wires.baud = number_option(parts, "baud", 50, 12'000'000, wires.baud, address, kWanted);
  wires.rts = on_off(parts, "rts", address);
  wires.dtr = on_off(parts, "dtr", address);
  return std::make_unique<SerialLink>(address, parts.path, wires);
}

}  // namespace

const Scheme kSerial{.prefix = "serial:", .wanted = kWanted, .open = open_serial};

}  // namespace pinproof::link
