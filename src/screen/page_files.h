// The page's files as they were when the program was built.
#pragma once

#include <span>
#include <string_view>

namespace pinproof::screen {

struct PageFile {
  std::string_view name;
  std::string_view bytes;
};
std::span<const PageFile> page_files();

}  // namespace pinproof::screen
