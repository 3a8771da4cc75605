#include "app/documents/completions.h"
#include "quantity/phrase.h"

namespace pinproof::app {
namespace {

// clang-format off: it takes the shell for C++.
constexpr std::string_view kHead = R"SH(#compdef pinproof
# Made from pinproof's commands.

_pinproof_profiles() {
  local program=${${:-$commands[pinproof]}:A}
  local folder=${PINPROOF_SHARE:-${program:h:h}/share/pinproof}
  local -a names; names=($folder/profiles/*.json(N:t:r))
  _alternative "profiles:installed profile:($names)" 'files:file:_files -g "*.json"'
}
)SH";
// clang-format on

// Without what parts a specification.
std::string plain(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (std::string_view("\\[]:").find(c) != std::string_view::npos) out += '\\';
    out += c;
  }
  return out;
}

std::string action_of(const Entry& entry) {
  switch (entry.completion) {
    case Completion::choice:
      return "(" + joined(entry.choices, " ") + ")";
    case Completion::profile:
      return "_pinproof_profiles";
    case Completion::file:
      return "_files";
    case Completion::folder:
      return "_files -/";
    case Completion::text:
      return " ";
    case Completion::none:
      break;
  }
  return "";
}

std::string lower(std::string text) {
  for (char& c : text)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return text;
}

std::vector<std::string> specifications(const Taking& one) {
  std::vector<std::string> out;
  for (const Entry& entry : one.options) {
    const std::string tail =
        entry.type.empty() ? "" : ":" + lower(entry.type) + ":" + action_of(entry);
    for (const std::string& flag : entry.flags)
      out.push_back(
          shell_quoted((entry.repeated ? "*" : "") + flag + "[" + plain(entry.text) + "]" + tail));
  }
  if (!one.page->commands.empty()) {
    out.push_back(shell_quoted("1:command:->command"));
    out.push_back(shell_quoted("*::argument:->rest"));
    return out;
  }
  for (const Entry& entry : one.page->arguments)
    out.push_back(shell_quoted(std::string(entry.repeated ? "*" : "") + ":" + plain(entry.name) +
                               ":" + action_of(entry)));
  return out;
}

std::string function_name(const Page& page) {
  return page.path.empty() ? "_pinproof" : "_pinproof_" + joined(page.path, "_");
}

std::string function_of(const Taking& one) {
  const Page& page = *one.page;
  const std::string arguments = joined(specifications(one), " \\\n    ");
  std::string out = function_name(page) + "() {\n";
  if (page.commands.empty()) return out + "  _arguments " + arguments + "\n}\n";
  std::vector<std::string> described;
  std::string cases;
  for (const Page& sub : page.commands) {
    described.push_back(shell_quoted(sub.path.back() + ":" + plain(sub.about)));
    cases += "      " + sub.path.back() + ") " + function_name(sub) + " ;;\n";
  }
  out += "  local curcontext=$curcontext state line\n  typeset -A opt_args\n";
  out += "  _arguments -C " + arguments + "\n  case $state in\n";
  out += "    command) local -a names; names=(" + joined(described, " ") +
         "); _describe command names ;;\n";
  return out + "    rest) case $line[1] in\n" + cases + "    esac ;;\n  esac\n}\n";
}

}  // namespace

std::string zsh_completion(const Page& program) {
  std::string out(kHead);
  for (const Taking& one : all_taking(program)) out += "\n" + function_of(one);
  return out + "\n_pinproof \"$@\"\n";
}

}  // namespace pinproof::app
