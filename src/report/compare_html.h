// Two records side by side as a page of the live screen.
#pragma once

#include <string>

#include "report/records.h"

namespace pinproof::report {

/// What changed first. With both judgements each number is drawn against its
/// limits too.
std::string compare_html(const Comparison& comparison,
                         const inspection::Judgement* before = nullptr,
                         const inspection::Judgement* after = nullptr);

}  // namespace pinproof::report
