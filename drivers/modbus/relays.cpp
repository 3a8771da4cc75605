#include "modbus/relays.h"

#include <modbus/modbus.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <optional>
#include <set>

#include "modbus/context.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::modbus {
namespace {

// libmodbus cannot be interrupted: a stop waits for this at most.
constexpr double kLongestAnswer_s = 0.5;

class Relays final : public bench::Paths {
 public:
  Relays(const std::string& address, const bench::Fixture& fixture)
      : name_("matrix " + address), context_(make_context(address)) {
    for (const auto& [row, number] : fixture.rows) rows_[row] = whole(number, "row " + row);
    for (const auto& [node, number] : fixture.columns)
      columns_[node] = whole(number, "column " + node);
    for (const auto& [row, base] : rows_)
      for (const auto& [node, offset] : columns_)
        if (!all_.insert(base + offset).second) throw given_twice(row, node, base + offset);
    if (all_.empty()) throw Error(Fault::usage, name_ + ": the fixture has no rows or no columns");
  }

  bool can_tie() const override { return true; }
  bool can_drive() const override {
    return rows_.contains("drive_high") && rows_.contains("drive_low") &&
           rows_.contains("probe_high") && rows_.contains("probe_low");
  }

  void connect_meter(const bench::Connection& to, bool sense, Resistance,
                     const bench::Patience& patience) override {
    std::set<int> relays;
    add(relays, "force_high", to.high);
    add(relays, "force_low", to.low);
    if (sense) {
      add(relays, "sense_high", to.high);
      add(relays, "sense_low", to.low);
    }
    close_only(relays, patience);
  }

  void connect_drive(const bench::Connection& drive, const bench::Connection& probe,
                     const bench::Patience& patience) override {
    std::set<int> relays;
    add(relays, "drive_high", drive.high);
    add(relays, "drive_low", drive.low);
    add(relays, "probe_high", probe.high);
    add(relays, "probe_low", probe.low);
    close_only(relays, patience);
  }

  void connect_rows(const bench::Rows& rows, const bench::Patience& patience) override {
    std::set<int> relays;
    for (const auto& [row, nodes] : rows) add(relays, row, nodes);
    close_only(relays, patience);
  }

  bool still_connected(const bench::Patience& patience) override {
    connect(patience);
    return !first_wrong(closed_, patience);
  }

  void open_all(const bench::Patience& patience) override {
    known_ = false;
    connect(patience);
    open_every_relay(patience);
    expect_closed({}, patience);
    closed_.clear();
    known_ = true;
  }

 private:
  Error given_twice(const std::string& row, const std::string& node, int relay) const {
    return {Fault::usage, name_ + ": row " + row + " and column " + node + " give relay " +
                              std::to_string(relay) + ", which another pair gives too"};
  }

  int whole(const std::string& text, const std::string& what) const {
    const auto number = parse_number(text);
    if (!number || *number < 0 || *number > 65535 || *number != std::floor(*number))
      throw Error(Fault::usage,
                  name_ + ": " + what + " is \"" + text + "\"; relay numbers are whole, from 0");
    return static_cast<int>(*number);
  }

  void add(std::set<int>& relays, const std::string& row,
           const std::vector<std::string>& nodes) const {
    const auto r = rows_.find(row);
    if (r == rows_.end())
      throw Error(Fault::bench, name_ + ": the fixture has no row \"" + row + "\"");
    for (const std::string& node : nodes) {
      const auto c = columns_.find(node);
      if (c == columns_.end())
        throw Error(Fault::bench, name_ + ": the fixture has no column for \"" + node + "\"");
      relays.insert(r->second + c->second);
    }
  }

  // Breaks before it makes, then has the board say which are closed.
  void close_only(const std::set<int>& relays, const bench::Patience& patience) {
    if (known_ && relays == closed_) return;
    connect(patience);
    if (!known_) open_every_relay(patience);
    for (const int relay : closed_)
      if (!relays.contains(relay)) write(relay, false, patience);
    for (const int relay : relays)
      if (!known_ || !closed_.contains(relay)) write(relay, true, patience);
    known_ = false;
    expect_closed(relays, patience);
    closed_ = relays;
    known_ = true;
  }

  void open_every_relay(const bench::Patience& patience) {
    closed_.clear();
    const int first = *all_.begin();
    const auto count = static_cast<std::size_t>(*all_.rbegin() - first + 1);
    const std::vector<std::uint8_t> off(std::min<std::size_t>(count, MODBUS_MAX_WRITE_BITS), 0);
    before(patience);
    // Boards that only know "write one coil" exist.
    if (::modbus_write_bits(context_.get(), first, static_cast<int>(off.size()), off.data()) >= 0 &&
        off.size() == count)
      return;
    if (errno != EMBXILFUN && errno != EMBXILADD && errno != EMBXILVAL && off.size() == count)
      lose("open all");
    for (const int relay : all_) write(relay, false, patience);
  }

  void write(int relay, bool on, const bench::Patience& patience) {
    before(patience);
    if (::modbus_write_bit(context_.get(), relay, on ? 1 : 0) != 1)
      lose("relay " + std::to_string(relay));
  }

  // A relay that was never told to close would otherwise read as an open circuit.
  void expect_closed(const std::set<int>& relays, const bench::Patience& patience) {
    if (const auto relay = first_wrong(relays, patience))
      throw Error(Fault::bench, name_ + ": relay " + std::to_string(*relay) + " was told to " +
                                    (relays.contains(*relay) ? "close" : "open") +
                                    " and says that it has not");
  }

  std::optional<int> first_wrong(const std::set<int>& relays, const bench::Patience& patience) {
    const int first = *all_.begin();
    const int last = *all_.rbegin();
    for (int from = first; from <= last; from += MODBUS_MAX_READ_BITS) {
      const int count = std::min(last - from + 1, static_cast<int>(MODBUS_MAX_READ_BITS));
      std::vector<std::uint8_t> states(static_cast<std::size_t>(count));
      before(patience);
      if (::modbus_read_bits(context_.get(), from, count, states.data()) != count)
        lose("read back");
      for (int i = 0; i < count; ++i)
        if (all_.contains(from + i) &&
            (states[static_cast<std::size_t>(i)] != 0) != relays.contains(from + i))
          return from + i;
    }
    return std::nullopt;
  }

  void before(const bench::Patience& patience) const {
    if (patience.stopped()) throw Error(Fault::aborted, name_ + ": stopped");
    const double limit_s = std::clamp(patience.limit().si(), 0.05, kLongestAnswer_s);
    ::modbus_set_response_timeout(context_.get(), 0, static_cast<std::uint32_t>(1e6 * limit_s));
  }

  void connect(const bench::Patience& patience) {
    before(patience);
    if (connected_) return;
    if (::modbus_connect(context_.get()) != 0) lose("cannot connect");
    ::modbus_flush(context_.get());
    connected_ = true;
  }

  // A late answer must not be taken for the next one's: the line is opened afresh.
  [[noreturn]] void lose(const std::string& what) {
    const int error = errno;
    ::modbus_flush(context_.get());
    ::modbus_close(context_.get());
    connected_ = known_ = false;
    const Fault fault = error == ETIMEDOUT ? Fault::timeout : Fault::bench;
    throw Error(fault, name_ + ": " + what + ": " + ::modbus_strerror(error));
  }

  std::string name_;
  ModbusContext context_;
  std::map<std::string, int> rows_, columns_;
  std::set<int> all_, closed_;
  bool connected_ = false;
  bool known_ = false;
};

}  // namespace

void install(const bench::InstrumentDescription& instrument, const bench::Description& bench,
             const bench::Patience& patience, bench::Instruments& instruments) {
  if (instrument.role != "matrix")
    throw Error(Fault::usage,
                "bench \"" + bench.name + "\": modbus is a driver for the role \"matrix\"");
  auto relays = std::make_unique<Relays>(instrument.address, bench.fixture);
  relays->open_all(patience);
  instruments.paths = std::move(relays);
}

}  // namespace pinproof::modbus
