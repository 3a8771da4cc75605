// Records and ledgers of version 0.1.0 told by their wording what has a name of its own since. This
// is the one place that reads such words, and nothing that was written later comes here.
#pragma once

#include <string>
#include <string_view>

#include "findings/verdict.h"

namespace pinproof::record {

findings::Ending ending_of_0_1_0(std::string_view why);
findings::SkipReason skip_reason_of_0_1_0(std::string_view reason);
/// findings::ResultId::aspect of a figure by what it was called. What is not known keeps its title
/// as its name, so that two figures never become one.
std::string aspect_of_0_1_0(std::string_view check, std::string_view subject,
                            std::string_view title);

}  // namespace pinproof::record
