// Runs stored inputs through the targets, without clang: every file of CORPUS/TARGET and
// REGRESSIONS/TARGET for the folders given, or single files with "TARGET FILE...".
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "targets.h"

namespace {

namespace fs = std::filesystem;
using pinproof::fuzz::kTargets;
using pinproof::fuzz::Target;

constexpr double kSlow_s = 20;  // an input that once hung; sanitizers and old computers included

std::string bytes_of(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

// What an input breaks ends the program: its name must be on the screen by then.
bool run(const Target& target, const fs::path& path) {
  const std::string input = bytes_of(path);
  std::printf("%s %s\n", std::string(target.name).c_str(), path.c_str());
  std::fflush(stdout);
  const auto from = std::chrono::steady_clock::now();
  target.run(input);
  const double took_s =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - from).count();
  if (took_s > kSlow_s) std::printf("  TOO SLOW: %.1f s\n", took_s);
  return took_s <= kSlow_s;
}

std::vector<fs::path> files_in(const fs::path& folder) {
  std::vector<fs::path> out;
  if (!fs::is_directory(folder)) return out;
  for (const auto& entry : fs::directory_iterator(folder))
    if (entry.is_regular_file()) out.push_back(entry.path());
  std::sort(out.begin(), out.end());
  return out;
}

int replay_folders(const std::vector<std::string>& folders) {
  std::size_t files = 0, slow = 0;
  for (const Target& target : kTargets) {
    target.run({});
    for (const std::string& folder : folders)
      for (const fs::path& path : files_in(fs::path(folder) / target.name))
        ++files, slow += run(target, path) ? 0 : 1;
  }
  std::printf("%zu files through %zu targets, %zu too slow\n", files, kTargets.size(), slow);
  return files == 0 || slow > 0 ? 1 : 0;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> arguments(argv + 1, argv + argc);
  for (const Target& target : kTargets) {
    if (arguments.empty() || arguments[0] != target.name) continue;
    bool good = true;
    for (std::size_t k = 1; k < arguments.size(); ++k) good = run(target, arguments[k]) && good;
    return good ? 0 : 1;
  }
  return replay_folders(arguments);
}
