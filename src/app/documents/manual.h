// Manual pages in roff's man macros: one for the program, one a command.
#pragma once

#include <ctime>
#include <map>
#include <string>

#include "app/documents/pages.h"

namespace pinproof::app {

/// Texts of all pages by the names of their files, "pinproof-records.1". `made` is the day that
/// they bear, `version` as --version prints it.
std::map<std::string, std::string> manual(const Page& program, const std::string& version,
                                          std::time_t made);

}  // namespace pinproof::app
