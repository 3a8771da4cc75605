#include "sigrok/handheld.h"

#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

#include "link/address.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::sigrok {
namespace {

constexpr std::string_view kScheme = "sigrok:";
constexpr std::string_view kWanted =
    "sigrok:DRIVER:conn=/dev/ttyUSB0 (what sigrok-cli takes after -d)";
constexpr std::size_t kLongestLine = 400;
// Starting, finding the meter and its first reading.
const Duration kFirstReading{15};

struct UnitPrefix {
  std::string_view text;
  double factor;
};
constexpr std::array kPrefixes{UnitPrefix{"", 1},     UnitPrefix{"k", 1e3},  UnitPrefix{"M", 1e6},
                               UnitPrefix{"G", 1e9},  UnitPrefix{"m", 1e-3}, UnitPrefix{"µ", 1e-6},
                               UnitPrefix{"u", 1e-6}, UnitPrefix{"n", 1e-9}};
constexpr std::array<std::string_view, 6> kUnits{"\u03a9", "\u2126", "V", "°C", "A", "F"};
constexpr std::array<std::string_view, 5> kFrozen{"HOLD", "MAX", "MIN", "REL", "AVG"};
constexpr std::array<std::string_view, 3> kMarks{"FRAME-BEGIN", "FRAME-END", "META"};

std::string_view word(std::string_view& rest) {
  const auto space = rest.find(' ');
  const std::string_view out = rest.substr(0, space);
  rest = space == std::string_view::npos ? "" : rest.substr(space + 1);
  return out;
}

[[noreturn]] void refuse(std::string_view line, const std::string& why) {
  throw Error(Fault::bad_reply, "sigrok-cli: \"" + std::string(line.substr(0, 80)) + "\": " + why);
}

bool installed(const std::string& program) {
  const char* path = std::getenv("PATH");
  std::string_view rest = path ? path : "";
  while (!rest.empty()) {
    const auto colon = rest.find(':');
    const std::string file = std::string(rest.substr(0, colon)) + "/" + program;
    if (::access(file.c_str(), X_OK) == 0) return true;
    rest = colon == std::string_view::npos ? "" : rest.substr(colon + 1);
  }
  return false;
}

class Handheld final : public bench::Meter {
 public:
  Handheld(std::string address, std::unique_ptr<link::Link> link, metrology::AccuracyTable table)
      : name_("meter " + std::move(address)), link_(std::move(link)), table_(std::move(table)) {}

  std::string name() const override { return name_; }
  bool can_four_wire() const override {
    return std::any_of(table_.begin(), table_.end(),
                       [](const auto& e) { return e.function == "ohm-4w"; });
  }
  bool can_celsius() const override { return false; }

  // The knob chooses the function and the meter its range: what was asked for
  // can only be compared.
  bench::ShownOhms ohms(bool, Resistance, const bench::Patience& patience) override {
    const MeterLine line = fresh(patience, "\u03a9");
    return shown<Resistance>(line, line.four_wire ? "ohm-4w" : "ohm-2w");
  }
  bench::ShownVolts volts(Voltage, const bench::Patience& patience) override {
    return shown<Voltage>(fresh(patience, "V"), "volt");
  }
  bench::ShownCelsius celsius(const bench::Patience&) override {
    throw Error(Fault::bench, name_ + ": is the meter of the pack, not its thermometer");
  }

 private:
  template <class Measurand>
  bench::Shown<Measurand> shown(const MeterLine& line, const std::string& function) const {
    double range = 0;
    double largest = 0;
    for (const auto& entry : table_) {
      if (entry.function != function) continue;
      largest = std::max(largest, entry.range);
      const bool holds = std::abs(line.value) <= entry.range * entry.over;
      if (holds && (range == 0 || entry.range < range)) range = entry.range;
    }
    if (largest == 0)
      throw Error(Fault::usage, name_ + ": its accuracy table has nothing for " + function);
    if (line.overload || range == 0)
      return {Measurand(std::nan("")), true, Measurand(largest), function};
    return {Measurand(line.value), false, Measurand(range), function};
  }

  // What was measured before the question is thrown away, and so is the line
  // that was on its way.
  MeterLine fresh(const bench::Patience& patience, std::string_view unit) {
    const auto slow = patience.with_limit(std::max(patience.limit(), kFirstReading));
    link_->discard(Duration{0}, slow);
    if (started_) (void)link_->read_line(kLongestLine, slow);
    started_ = true;
    while (true) {
      const auto line = parse_line(link_->read_line(kLongestLine, slow));
      if (!line) continue;
      if (line->unit != unit)
        throw Error(Fault::bench,
                    name_ + ": shows " + line->unit + "; turn it to " + std::string(unit));
      if (!line->frozen.empty())
        throw Error(Fault::bench, name_ + ": is on " + line->frozen +
                                      "; it does not show what is under "
                                      "the probes now");
      return *line;
    }
  }

  std::string name_;
  std::unique_ptr<link::Link> link_;
  metrology::AccuracyTable table_;
  bool started_ = false;
};

}  // namespace

std::optional<MeterLine> parse_line(std::string_view line) {
  for (const std::string_view mark : kMarks)
    if (line.starts_with(mark)) return std::nullopt;
  const auto colon = line.find(": ");
  if (colon == std::string_view::npos || colon == 0 ||
      line.substr(0, colon).find(' ') != std::string_view::npos)
    refuse(line, "no channel and reading");
  std::string_view rest = line.substr(colon + 2);
  MeterLine out;
  const std::string_view value = word(rest);
  const auto number = parse_number(value);
  out.overload = value == "inf" || value == "-inf";
  if (!number && !out.overload) refuse(line, "\"" + std::string(value) + "\" is no number");
  const std::string_view with_prefix = word(rest);
  double factor = 0;
  for (const std::string_view unit : kUnits)
    for (const UnitPrefix& prefix : kPrefixes)
      if (with_prefix == std::string(prefix.text) + std::string(unit))
        out.unit = unit, factor = prefix.factor;
  // Unicode has two signs for it, and sigrok-cli prints the one for ohms only.
  if (out.unit == "\u2126") out.unit = "\u03a9";
  if (factor == 0) refuse(line, "\"" + std::string(with_prefix) + "\" is no unit known here");
  out.value = out.overload ? std::nan("") : *number * factor;
  while (!rest.empty()) {
    const std::string_view flag = word(rest);
    if (flag == "4-WIRE") out.four_wire = true;
    if (std::find(kFrozen.begin(), kFrozen.end(), flag) != kFrozen.end()) out.frozen = flag;
  }
  return out;
}

void install(const bench::InstrumentDescription& instrument, const OpenAddress& open,
             bench::Instruments& instruments) {
  const std::string& address = instrument.address;
  if (instrument.role != "meter")
    throw Error(Fault::usage, "driver sigrok-cli is for the role \"meter\"");
  if (!address.starts_with(kScheme) || address.size() == kScheme.size() ||
      address.find(' ') != std::string::npos)
    link::refuse_address(address, "not an address of sigrok-cli", kWanted);
  if (instrument.accuracy.empty())
    throw Error(Fault::usage, address +
                                  ": the meter needs its accuracy table in the bench file: "
                                  "without it no reading has an uncertainty");
  if (!installed("sigrok-cli"))
    throw Error(Fault::bench, address +
                                  ": sigrok-cli is not installed; it reads hand-held meters "
                                  "(on Debian: apt install sigrok-cli)");
  const auto question = address.find('?');
  std::string command = "command:stdbuf -oL sigrok-cli -d " +
                        address.substr(kScheme.size(), question - kScheme.size());
  if (question != std::string::npos) command += " --config " + address.substr(question + 1);
  instruments.meter =
      std::make_unique<Handheld>(address, open(command + " --continuous"), instrument.accuracy);
}

}  // namespace pinproof::sigrok
