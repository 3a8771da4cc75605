// A person at the lever and the air gun, behind the port of an actuator.
#pragma once

#include <functional>
#include <memory>

#include "bench/console.h"
#include "bench/ports.h"

namespace pinproof::hand {

/// Asks for one kind of work and returns when it is done; throws bench::Detour.
using Confirm = std::function<void(const std::string& kind, const std::string& what,
                                   const bench::Patience& patience)>;

/// `console` outlives it and hears what nobody is waited for.
std::unique_ptr<bench::Actuator> actuator(bench::Console& console, Confirm confirm);

/// For a bench whose probes are not held by hand: relays measure, a person moves the lever and
/// applies the air when asked to on `console`, which outlives it.
std::unique_ptr<bench::Actuator> actuator(bench::Console& console);

}  // namespace pinproof::hand
