// The tree of commands as plain data, for the manual and the completions.
#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace pinproof::app {

/// What completes a value: nothing where there is none.
enum class Completion { none, text, choice, file, folder, profile };

/// An option or an argument of a command.
struct Entry {
  std::vector<std::string> flags;  ///< "-h", "--help"; empty for an argument
  std::string name;                ///< the last flag, or the argument's name
  std::string text;
  std::string type;                   ///< "TEXT", "FLOAT"; empty where it takes no value
  std::string low, high, usual;       ///< of the value, as they are printed; empty: none
  std::vector<std::string> choices;   ///< empty: any value
  std::vector<std::string> excludes;  ///< names, in order of the alphabet
  std::vector<std::string> needs;     ///< the same
  bool required = false, repeated = false;
  Completion completion = Completion::none;
};

struct Page {
  std::vector<std::string> path;  ///< empty for the program, else "records", "find"
  std::string about, usage;
  std::vector<Entry> arguments, options;
  std::vector<Page> commands;
  std::vector<std::string> examples;  ///< command lines

  /// "pinproof records find", or with something else between the words.
  std::string title(const std::string& between = " ") const;
};

/// The page of a command and of all below it that are shown. Throws std::logic_error where the tree
/// has a check of a value that it does not know.
Page read_page(CLI::App& app, const std::vector<std::string>& path = {});

}  // namespace pinproof::app
