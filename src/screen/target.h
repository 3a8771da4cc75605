// What a request asks for, decoded strictly: what could be read in two ways is not read at all.
// Pure.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>

namespace pinproof::screen {

struct Target {
  std::string path;  ///< begins with "/"; no empty, "." or ".." segment, no backslash, no control
  std::map<std::string, std::string> query;  ///< of a repeated name the first
};

/// nullopt where it is none: a wrong escape, what is not UTF-8, control characters, a path that
/// wants to climb or hides a slash in an escape, an absolute form whose authority is not `host`.
std::optional<Target> read_target(std::string_view raw, std::string_view host);

}  // namespace pinproof::screen
