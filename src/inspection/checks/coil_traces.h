// Driven coils as the checks after them look at them.
#pragma once

#include <string_view>

#include "inspection/checks/judgement.h"

namespace pinproof::inspection {

/// nullptr where the coil was not driven.
const CoilTrace* trace_of(const Judgement& judgement, std::string_view coil);

}  // namespace pinproof::inspection
