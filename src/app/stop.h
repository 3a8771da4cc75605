// Ctrl-C and terminate become a stop token; the work unwinds and makes the
// bench safe on its way out.
#pragma once

#include <stop_token>

namespace pinproof::app {

/// Call once, before any thread is started.
void listen_for_signals();
std::stop_token stop_token();

/// Sleeps; throws Error(Fault::aborted) when stopped meanwhile.
void sleep_or_stop(double seconds);

}  // namespace pinproof::app
