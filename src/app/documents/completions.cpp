#include "app/documents/completions.h"

#include <algorithm>

namespace pinproof::app {
namespace {

void add(const Page& page, const std::vector<Entry>& above, std::vector<Taking>& out) {
  std::vector<Entry> options = page.options;
  for (const Entry& one : above)
    if (std::none_of(page.options.begin(), page.options.end(),
                     [&](const Entry& own) { return own.name == one.name; }))
      options.push_back(one);
  out.push_back({&page, options});
  // The program's own options stand before the command only.
  const std::vector<Entry> below = page.path.empty() ? std::vector<Entry>{} : options;
  for (const Page& sub : page.commands) add(sub, below, out);
}

}  // namespace

std::vector<Taking> all_taking(const Page& program) {
  std::vector<Taking> out;
  add(program, {}, out);
  return out;
}

Completion argument_of(const Page& page) {
  return page.arguments.empty() ? Completion::text : page.arguments.front().completion;
}

std::string shell_quoted(const std::string& text) {
  std::string out = "'";
  for (const char c : text) {
    if (c == '\'')
      out += "'\\''";
    else
      out += c;
  }
  return out + "'";
}

}  // namespace pinproof::app
