#include <array>

#include "screen/desk.h"
#include "screen/page_files.h"

namespace pinproof::screen {
namespace {

struct FileType {
  std::string_view end, type;
};
constexpr std::array kTypes{
    FileType{".html", "text/html; charset=utf-8"}, FileType{".css", "text/css; charset=utf-8"},
    FileType{".js", "text/javascript; charset=utf-8"}, FileType{".svg", "image/svg+xml"}};

}  // namespace

std::optional<Reply> page_file(const std::string& path) {
  constexpr std::string_view kFolder = "/page/";
  std::string_view name = path;
  if (name == "/")
    name = "index.html";
  else if (name.starts_with(kFolder))
    name.remove_prefix(kFolder.size());
  else if (name == "/favicon.ico")
    return Reply{204, "image/x-icon", "", {}, false};
  else
    return std::nullopt;
  for (const PageFile& file : page_files()) {
    if (file.name != name) continue;
    Reply out;
    for (const FileType& type : kTypes)
      if (name.ends_with(type.end)) out.type = type.type;
    out.body = file.bytes;
    return out;
  }
  return std::nullopt;
}

}  // namespace pinproof::screen
