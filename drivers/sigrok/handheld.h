// Hand-held meters through the user's own sigrok-cli, run as a program and never
// linked: it is under the GPL.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "bench/description.h"
#include "bench/ports.h"
#include "link/link.h"

namespace pinproof::sigrok {

/// One line of readings: "P1: 5.08210 kΩ AUTO".
struct MeterLine {
  double value = 0;  ///< in the plain unit; NaN with `overload`
  bool overload = false;
  std::string unit;  ///< "Ω", "V", "°C"
  bool four_wire = false;
  std::string frozen;  ///< HOLD, MAX, MIN, REL: not what is under the probes now; empty: it is
};

/// nullopt for a line that is no reading (frame marks). Throws Error(bad_reply)
/// for anything else that is not exactly a reading.
std::optional<MeterLine> parse_line(std::string_view line);

using OpenAddress = std::function<std::unique_ptr<link::Link>(const std::string& address)>;

/// Address "sigrok:DRIVER:conn=...": what sigrok-cli takes after -d, and after a
/// '?' what it takes after --config. Throws Error: usage for an address or a table
/// that cannot be, bench where sigrok-cli is not installed.
void install(const bench::InstrumentDescription& instrument, const OpenAddress& open,
             bench::Instruments& instruments);

}  // namespace pinproof::sigrok
