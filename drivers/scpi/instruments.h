// The SCPI drivers: one file each, listed in one table (registry.cpp).
#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string_view>
#include <vector>

#include "bench/description.h"
#include "bench/ports.h"
#include "scpi/session.h"

namespace pinproof::scpi {

/// Makes one port of `instruments` work through `session`.
struct Driver {
  std::string_view role;  ///< as written in the bench file
  /// Operations that a dialect must have for it; the others only make it better.
  std::vector<std::string_view> needs;
  void (*install)(Session session, const bench::InstrumentDescription& instrument,
                  const bench::Description& bench, bench::Instruments& instruments);
};

extern const Driver kMeter;
extern const Driver kMatrix;
extern const Driver kDigitiser;
extern const Driver kSupply;
extern const Driver kActuator;

std::span<const Driver* const> drivers();

/// Opens the link of an instrument. `off` and `off_query` are empty but for a
/// supply: the messages that switch it off and that ask whether it is.
struct LinkWanted {
  std::string role, address, off, off_query;
};
using OpenLink = std::function<std::unique_ptr<link::Link>(const LinkWanted&)>;

/// Opens the instrument and puts it in place; fills in the accuracy table of its
/// dialect where the bench file has none. Throws Error: usage for what the file
/// says wrongly, timeout, bad_reply or bench for an instrument that does not
/// answer as such.
void install(bench::InstrumentDescription& instrument, const bench::Description& bench,
             const std::string& dialect_folder, const OpenLink& open,
             const bench::Patience& patience, bench::Instruments& instruments);

/// All instruments of a bench whose driver is "scpi", over plain links.
void install_instruments(bench::Description& bench, const std::string& dialect_folder,
                         const bench::Patience& patience, bench::Instruments& instruments);

}  // namespace pinproof::scpi
