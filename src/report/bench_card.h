// A sheet for the wall beside the bench: what a good pack of one kind reads,
// pin by pin.
#pragma once

#include <string>

#include "profile/profile.h"

namespace pinproof::report {

/// A whole page: connector face, pin chart with resistances at 20, 40 and 60
/// °C, switches, lever codes, thermistor, limits for driving, cautions, and
/// where the numbers come from.
std::string bench_card_html(const profile::Profile& profile);

}  // namespace pinproof::report
