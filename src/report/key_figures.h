// The figures one asks for first: each coil's with its uncertainty, then one
// line for the rest.
#pragma once

#include "report/formats.h"
#include "report/markup.h"

namespace pinproof::report {

/// At most nine coils and five figures of each; says how many more there are.
Markup key_figures(const Input& input);

}  // namespace pinproof::report
