// The SCPI drivers: one file each, listed in one table (registry.cpp).
#pragma once

#include <memory>
#include <span>
#include <string_view>

#include "bench/description.h"
#include "bench/ports.h"
#include "scpi/session.h"

namespace pinproof::scpi {

/// Makes one port of `instruments` work through `session`.
struct Driver {
  std::string_view role;  ///< as written in the bench file
  void (*install)(Session session, const bench::InstrumentDescription& instrument,
                  const bench::Description& bench, bench::Instruments& instruments);
};

extern const Driver kMeter;
extern const Driver kMatrix;
extern const Driver kDigitiser;
extern const Driver kSupply;
extern const Driver kActuator;

std::span<const Driver* const> drivers();

/// Opens every instrument of the bench file whose driver is "scpi" and puts it
/// in place. Dialects are read from `dialect_folder`. Throws Error: usage for
/// what the file says wrongly, timeout, bad_reply or bench for an instrument
/// that does not answer as such.
void install_instruments(const bench::Description& bench, const std::string& dialect_folder,
                         const bench::Patience& patience, bench::Instruments& instruments);

}  // namespace pinproof::scpi
