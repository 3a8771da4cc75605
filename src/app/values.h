// What completes an option's value on a command line: a file, a folder, a profile.
#pragma once

namespace CLI {
class Option;
}

namespace pinproof::app {

enum class Takes { text, file, folder, profile };

/// Marks an option for the completions and gives it back. CLI11 has no place for such a mark: it
/// stands as the name of a check that lets everything pass, and shows in no help.
CLI::Option* takes_file(CLI::Option* option);
CLI::Option* takes_folder(CLI::Option* option);
/// The name of an installed profile, or a file.
CLI::Option* takes_profile(CLI::Option* option);

/// Takes::text where nothing is marked.
Takes taken_by(CLI::Option& option);

}  // namespace pinproof::app
