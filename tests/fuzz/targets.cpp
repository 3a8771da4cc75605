#include "paths.h"
#include "targets.h"

#include <algorithm>
#include <cstdio>
#include <cstdlib>

namespace pinproof::fuzz {

void expect(bool holds, std::string_view what, std::string_view detail) {
  if (holds) return;
  std::fprintf(stderr, "VIOLATED: %.*s: %.*s\n", static_cast<int>(what.size()), what.data(),
               static_cast<int>(std::min<std::size_t>(detail.size(), 2000)), detail.data());
  std::abort();
}

std::string_view take_line(std::string_view& rest) {
  const std::size_t end = std::min(rest.find('\n'), rest.size());
  const std::string_view line = rest.substr(0, end);
  rest.remove_prefix(std::min(end + 1, rest.size()));
  return line;
}

unsigned take_byte(std::string_view& rest) {
  if (rest.empty()) return 0;
  const auto out = static_cast<unsigned char>(rest.front());
  rest.remove_prefix(1);
  return out;
}

std::string in_project(std::string_view path) {
  return pinproof::tests::source_dir() + "/" + std::string(path);
}

}  // namespace pinproof::fuzz
