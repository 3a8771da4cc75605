// The technician's console on a terminal.
#pragma once

#include <memory>

#include "bench/console.h"

namespace pinproof::hand {

/// Keys from the terminal at standard input, words to standard error, so that a
/// report on standard output stays whole. Throws Error(Fault::usage) where
/// standard input is not a terminal. The terminal's settings come back at its end.
std::unique_ptr<bench::Console> open_terminal();

}  // namespace pinproof::hand
