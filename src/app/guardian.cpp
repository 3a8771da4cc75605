// The guardian process. Not a command for people: inspect and bench start it.
#include "link/guardian.h"

#include <CLI/CLI.hpp>

#include "app/command.h"

namespace pinproof::app {
namespace {

Run prepare(CLI::App& app) {
  app.group("");  // not in the list of commands
  return [](const Common&) { return link::run_guardian(0); };
}

}  // namespace

const Command kGuardian{.name = "guardian",
                        .description = "Owns a supply's link; started by pinproof itself",
                        .example = "pinproof inspect --profile six-speed-20-pin --bench bench.json",
                        .prepare = prepare};

}  // namespace pinproof::app
