// Completions for three shells, each one file. Commands of commands take the options of the command
// above them too.
#pragma once

#include <string>
#include <vector>

#include "app/documents/pages.h"

namespace pinproof::app {

/// A command with all options that it takes, its own first.
struct Taking {
  const Page* page;
  std::vector<Entry> options;
};
/// The program, then each command and what is below it.
std::vector<Taking> all_taking(const Page& program);

/// What completes a command's first argument.
Completion argument_of(const Page& page);

/// In single quotes for a shell.
std::string shell_quoted(const std::string& text);

std::string bash_completion(const Page& program);
std::string zsh_completion(const Page& program);
std::string fish_completion(const Page& program);

}  // namespace pinproof::app
