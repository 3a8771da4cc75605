// Where installed profiles and dialects are found.
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <filesystem>
#include <vector>

#include "app/command.h"
#include "quantity/error.h"

namespace pinproof::app {
namespace {

namespace fs = std::filesystem;

// Beside the program: as installed, and in a build folder, where links lead to the sources. No
// path of the building machine is compiled in.
std::vector<fs::path> shared_folders() {
  std::vector<fs::path> out;
  std::error_code ignored;
  const fs::path self = fs::read_symlink("/proc/self/exe", ignored);
  if (!self.empty()) out.push_back(self.parent_path().parent_path() / "share" / "pinproof");
  if (const char* set = std::getenv("PINPROOF_SHARE")) out.insert(out.begin(), set);
  return out;
}

}  // namespace

std::string find_profile(const std::string& name) {
  std::error_code ignored;
  if (fs::exists(name, ignored)) return name;
  std::string tried;
  for (const fs::path& folder : shared_folders()) {
    const fs::path path = folder / "profiles" / (name + ".json");
    if (fs::exists(path, ignored)) return path.string();
    tried += (tried.empty() ? "" : ", ") + path.string();
  }
  throw Error(Fault::usage,
              "profile \"" + name +
                  "\": no such file, and no installed profile of that name (looked for " + tried +
                  ")");
}

std::vector<std::string> installed_profiles() {
  for (const fs::path& folder : shared_folders()) {
    std::vector<std::string> out;
    std::error_code ignored;
    for (const auto& file : fs::directory_iterator(folder / "profiles", ignored))
      if (file.path().extension() == ".json") out.push_back(file.path().stem().string());
    std::sort(out.begin(), out.end());
    if (!out.empty()) return out;
  }
  return {};
}

std::string dialect_folder() {
  std::error_code ignored;
  for (const fs::path& folder : shared_folders())
    if (fs::is_directory(folder / "dialects", ignored)) return (folder / "dialects").string();
  throw Error(Fault::usage,
              "the dialect files are not where they were installed; set PINPROOF_SHARE to the "
              "folder that holds \"dialects\"");
}

}  // namespace pinproof::app
