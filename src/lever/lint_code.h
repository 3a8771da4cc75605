// What a code table and a gear table themselves invite, before anything is measured. Pure.
#pragma once

#include <vector>

#include "profile/lint.h"

namespace pinproof::lever {

/// Distances between codes, transitions that pass another position's code, what an unplugged or a
/// grounded harness reads, and the single faults that are dangerous or never noticed.
std::vector<profile::Remark> lint_code(const profile::Profile& profile);

/// Gears, switches and coils against each other; trip and test pressures against the line pressure
/// that the controller commands.
std::vector<profile::Remark> lint_gears(const profile::Profile& profile);

}  // namespace pinproof::lever
