// Which ledger a command works with: a file of one's own without any set-up, or a server that
// several benches share, with a file in between for when it does not answer.
#pragma once

#include <memory>
#include <string>

#include "record/ledger.h"
#include "session/keeping.h"

namespace CLI {
class App;
}

namespace pinproof::app {

struct LedgerOptions {
  std::string where;
  void add(CLI::App& app);
  /// The option, else the environment's PINPROOF_LEDGER, else the user's own file. Empty: "none".
  std::string place() const;
};

/// To read from: what waits in the file of a server goes there first, as far as it can.
std::unique_ptr<record::Ledger> open_to_read(const LedgerOptions& options);

}  // namespace pinproof::app
