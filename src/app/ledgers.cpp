#include "app/ledgers.h"

#include <CLI/CLI.hpp>
#include <cstdlib>

#include "app/values.h"
#include "quantity/error.h"
#include "record/store.h"

namespace pinproof::app {
namespace {

std::string environment(const char* name) {
  const char* value = std::getenv(name);
  return value ? value : "";
}

}  // namespace

void LedgerOptions::add(CLI::App& app) {
  takes_file(
      app.add_option("--ledger", where,
                     "Where records are kept: a file, postgresql://..., or \"none\" (default: "
                     "PINPROOF_LEDGER, else a file of your own)"));
}

std::string LedgerOptions::place() const {
  std::string out = where.empty() ? environment("PINPROOF_LEDGER") : where;
  if (out == "none") return "";
  return out.empty() ? session::data_folder() + "/ledger.sqlite" : out;
}

std::unique_ptr<record::Ledger> open_to_read(const LedgerOptions& options) {
  const std::string place = options.place();
  if (place.empty()) throw Error(Fault::usage, "--ledger none: there is nothing to read");
  if (record::is_server(place)) {
    const session::Sent sent = session::send_spooled(place);
    if (sent.records > 0)
      std::fprintf(stderr, "%zu waiting record(s) sent to the ledger.\n", sent.records);
  }
  return record::Ledger::open_existing(place);
}

}  // namespace pinproof::app
