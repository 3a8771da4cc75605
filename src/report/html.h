// The report as a page with something above it: the way to other pages, a
// decision of a person.
#pragma once

#include <string>

#include "report/formats.h"
#include "report/markup.h"

namespace pinproof::report {

/// `above`: the way to other pages. `notice`: stands under the verdict, for a person's decision.
std::string to_html(const Input& input, const Markup& above, const Markup& notice);

}  // namespace pinproof::report
