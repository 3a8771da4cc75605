#include "app/documents/completions.h"
#include "quantity/phrase.h"

namespace pinproof::app {
namespace {

constexpr std::string_view kHead = R"(# fish completion for pinproof, made from its commands
function __pinproof_profiles
    set -l folder (path dirname (path dirname (path resolve (command -s pinproof))))/share/pinproof
    set -q PINPROOF_SHARE; and set folder $PINPROOF_SHARE
    for file in $folder/profiles/*.json
        path change-extension '' (path basename $file)
    end
    __fish_complete_suffix .json
end

complete -c pinproof -f

)";

std::string where(const Page& page) {
  if (page.path.empty()) return "__fish_use_subcommand";
  std::vector<std::string> seen;
  for (const std::string& word : page.path) seen.push_back("__fish_seen_subcommand_from " + word);
  return joined(seen, "; and ");
}

std::string value_of(const Entry& entry) {
  switch (entry.completion) {
    case Completion::choice:
      return " -x -a " + shell_quoted(joined(entry.choices, " "));
    case Completion::profile:
      return " -x -a '(__pinproof_profiles)'";
    case Completion::file:
      return " -r -F";
    case Completion::folder:
      return " -x -a '(__fish_complete_directories)'";
    case Completion::text:
      return " -x";
    case Completion::none:
      break;
  }
  return "";
}

std::string option_line(const Entry& entry) {
  std::string out;
  for (const std::string& flag : entry.flags)
    if (!flag.starts_with("--")) out += " -s " + flag.substr(1);
  return out + " -l " + entry.name.substr(2) + value_of(entry) + " -d " + shell_quoted(entry.text);
}

void add_page(const Page& page, std::string& out) {
  const std::string begin = "complete -c pinproof -n ", here = begin + shell_quoted(where(page));
  std::vector<std::string> names;
  for (const Page& sub : page.commands) names.push_back(sub.path.back());
  const std::string only =
      where(page) +
      (page.path.empty() ? "" : "; and not __fish_seen_subcommand_from " + joined(names, " "));
  for (const Page& sub : page.commands)
    out += begin + shell_quoted(only) + " -a " + sub.path.back() + " -d " +
           shell_quoted(sub.about) + "\n";
  // Fish itself looks for the options of a command above.
  for (const Entry& entry : page.options) out += here + option_line(entry) + "\n";
  if (argument_of(page) == Completion::profile)
    out += here + " -a '(__pinproof_profiles)'\n";
  else if (argument_of(page) == Completion::file)
    out += here + " -F\n";
}

}  // namespace

std::string fish_completion(const Page& program) {
  std::string out(kHead);
  for (const Taking& one : all_taking(program)) add_page(*one.page, out);
  return out;
}

}  // namespace pinproof::app
