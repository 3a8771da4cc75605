// A Modbus relay board as the paths of a fixture: each crosspoint is one coil,
// whose number (from 0) is the sum of the fixture's row and column.
#pragma once

#include "bench/description.h"
#include "bench/ports.h"

namespace pinproof::modbus {

/// Opens the board and all its relays. Throws Error: usage for an address or a
/// row or column that is not a number, bench or timeout for a board that does
/// not answer.
void install(const bench::InstrumentDescription& instrument, const bench::Description& bench,
             const bench::Patience& patience, bench::Instruments& instruments);

}  // namespace pinproof::modbus
