// One command a file, one line in the table of main.cpp.
#pragma once

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

struct Command {
  std::string_view name;
  std::string_view description;
  std::string_view example;  ///< shown under --help
  /// Adds the command's own options; what they fill lives as long as the program.
  void (*options)(CLI::App& app);
  /// Exit code: 0 accept or done, 1 reject, 2 hold. Throws Error for 3, 4 and 5.
  int (*run)(const Common& common);
};

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

/// Finds a profile: a path as it stands, or a name among the installed ones.
std::string find_profile(const std::string& name);

/// Names of the profiles that are installed, or stand beside the sources where none are.
std::vector<std::string> installed_profiles();

/// Folder of the dialect files: beside the sources, or where they were installed.
std::string dialect_folder();

}  // namespace pinproof::app
