// One command a file, one line in the table of program.cpp.
#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace CLI {
class App;
}

namespace pinproof::app {

/// Options that every command has.
struct Common {
  bool json = false;  ///< machine output on stdout, logs on stderr
};

/// A command that was prepared: runs it with what its own options were parsed into. Exit code: 0
/// accept or done, 1 reject, 2 hold. Throws Error for 3, 4 and 5.
using Run = std::function<int(const Common&)>;

struct Command {
  std::string_view name;
  std::string_view description;
  std::string_view example;  ///< shown under --help and in the manual
  /// Adds the command's own options to `app`. What they fill belongs to what is returned and starts
  /// with its defaults, so a command may be prepared again and again in one process.
  Run (*prepare)(CLI::App& app);
};

/// Command::prepare of two functions and the value that both work with. `app` may go before the
/// returned value is called, but must not parse after that value is gone.
template <class Options>
Run prepared(CLI::App& app, void (*add_options)(CLI::App&, Options&),
             int (*run)(const Options&, const Common&)) {
  const auto options = std::make_shared<Options>();
  add_options(app, *options);
  return [options, run](const Common& common) { return run(*options, common); };
}

std::span<const Command* const> commands();

extern const Command kInspect;
extern const Command kDiagnose;
extern const Command kCoverage;
extern const Command kLever;
extern const Command kSample;
extern const Command kCoil;
extern const Command kProfile;
extern const Command kReport;
extern const Command kSimulate;
extern const Command kScreen;
extern const Command kBench;
extern const Command kRecords;
extern const Command kLot;
extern const Command kLearn;
extern const Command kGauge;
extern const Command kGuardian;

/// An example as it stands under --help: behind this heading, two blanks before each line.
inline constexpr std::string_view kExampleHeading = "Example:\n";
std::string example_text(std::string_view example);

/// Finds a profile: a path as it stands, or a name among the installed ones.
std::string find_profile(const std::string& name);

/// Names of the profiles that are installed, or stand beside the sources where none are.
std::vector<std::string> installed_profiles();

/// Folder of the dialect files: beside the sources, or where they were installed.
std::string dialect_folder();

}  // namespace pinproof::app
