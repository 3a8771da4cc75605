// What a run did not look at, and the cautions of the work.
#pragma once

#include <string>
#include <vector>

#include "inspection/checks/evidence.h"

namespace pinproof::inspection {

std::vector<std::string> not_tested(const Evidence& evidence);
std::vector<std::string> cautions(const profile::Profile& profile);

}  // namespace pinproof::inspection
