// Writes the manual and the completions at build time, from the tree of commands that the program
// itself parses with.
//   pinproof_documents FOLDER SECONDS    FOLDER/man1, bash, zsh and fish; the pages bear the day of
//                                        SECONDS since 1970
#include <CLI/CLI.hpp>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <string>

#include "app/documents/completions.h"
#include "app/documents/manual.h"
#include "app/documents/pages.h"
#include "app/program.h"
#include "quantity/file.h"
#include "quantity/version.h"

namespace {

using namespace pinproof;

void write(const std::filesystem::path& path, const std::string& text) {
  std::filesystem::create_directories(path.parent_path());
  write_file(path.string(), text);
}

void write_all(const std::filesystem::path& folder, std::time_t made) {
  app::Chosen nothing;
  const auto tree = app::command_tree(nothing);
  const app::Page program = app::read_page(*tree);
  for (const auto& [name, text] : app::manual(program, version_text(), made))
    write(folder / "man1" / name, text);
  write(folder / "bash" / "pinproof", app::bash_completion(program));
  write(folder / "zsh" / "_pinproof", app::zsh_completion(program));
  write(folder / "fish" / "pinproof.fish", app::fish_completion(program));
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc != 3) throw std::runtime_error("FOLDER and SECONDS are wanted");
    write_all(argv[1], std::stoll(argv[2]));
    return 0;
  } catch (const std::exception& e) {
    std::fprintf(stderr, "pinproof_documents: %s\n", e.what());
    return 1;
  }
}
