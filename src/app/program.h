// The whole program but for main: words in, exit code out.
#pragma once

#include <memory>
#include <span>
#include <string>

#include "app/command.h"

namespace pinproof::app {

/// Runs one command to its end. `words` are those of main: the program's own name first, then the
/// command and its options. Prints to stdout and stderr. Exit code: 0 accept or done, 1 reject, 2
/// hold, 3 wrong usage or file, 4 bench fault, 5 stopped.
///
/// May be called again in one process: nothing of one call is left for the next, but for a stop
/// that was asked for (app/stop.h), which ends all that comes. A command that opens a supply starts
/// the guardian by running its own executable with the word "guardian": a process that calls this
/// must hand that word on to it.
int run_program(std::span<const std::string> words);

/// What the words on a command line chose; `command` null: nothing yet.
struct Chosen {
  Common common;
  const Command* command = nullptr;
  Run run;
};

/// The program's commands and options, as a tree that parses into `chosen` (which must outlive it)
/// and that the manual and the completions are made from.
std::shared_ptr<CLI::App> command_tree(Chosen& chosen);

}  // namespace pinproof::app
