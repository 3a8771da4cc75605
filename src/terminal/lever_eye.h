// The lever's walk as a line that changes on a terminal.
#pragma once

#include <memory>

#include "session/lever_walk.h"

namespace pinproof::terminal {

/// At standard error; where that is no terminal, only what a person must do.
std::unique_ptr<session::LeverEye> lever_eye();

}  // namespace pinproof::terminal
