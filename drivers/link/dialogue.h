// Links whose exchanges are written into a journal, or come out of one.
#pragma once

#include <memory>
#include <string>

#include "bench/journal.h"
#include "link/link.h"

namespace pinproof::link {

/// `journal` outlives the link. `role` is "meter", "supply", ...
std::unique_ptr<Link> record_link(const std::string& role, std::unique_ptr<Link> link,
                                  bench::JournalWriter& journal);
std::unique_ptr<Link> replay_link(const std::string& role, const std::string& address,
                                  bench::JournalReader& journal);

}  // namespace pinproof::link
