#include "app/documents/completions.h"
#include "quantity/phrase.h"

namespace pinproof::app {
namespace {

constexpr std::string_view kHead = R"(# bash completion for pinproof, made from its commands

_pinproof_options() {
  case $1 in
)";
constexpr std::string_view kValues = R"(  esac
}

# What completes the value of "command|--option"; nothing for a flag.
_pinproof_value() {
  case $1 in
)";
constexpr std::string_view kCommands = R"(  esac
}

_pinproof_commands() {
  case $1 in
)";
constexpr std::string_view kArguments = R"(  esac
}

_pinproof_argument() {
  case $1 in
)";
// clang-format off: it takes the shell for C++.
constexpr std::string_view kTail = R"SH(  esac
}

_pinproof_profiles() {
  local program folder file
  program=$(readlink -f "$(type -P pinproof)")
  folder=${PINPROOF_SHARE:-${program%/bin/*}/share/pinproof}
  for file in "$folder"/profiles/*.json; do
    [ -e "$file" ] || continue
    file=${file##*/}
    printf '%s\n' "${file%.json}"
  done
}

_pinproof_offer() {  # kind, beginning
  local kind=$1 begin=$2 found
  case $kind in
    choice*) found=$(compgen -W "${kind#choice}" -- "$begin") ;;
    profile) found=$(compgen -W "$(_pinproof_profiles)" -- "$begin"; compgen -f -X '!*.json' -- "$begin"; compgen -d -- "$begin") ;;
    file) found=$(compgen -f -- "$begin") ;;
    folder) found=$(compgen -d -- "$begin") ;;
    *) return ;;
  esac
  [ -z "$found" ] || mapfile -t COMPREPLY <<<"$found"
  case $kind in choice*) ;; *) compopt -o filenames 2>/dev/null ;; esac
}

_pinproof() {
  local begin=${COMP_WORDS[COMP_CWORD]} path= value= word subs i
  COMPREPLY=()
  for ((i = 1; i < COMP_CWORD; ++i)); do
    word=${COMP_WORDS[i]}
    case $word in
      =) continue ;;
      -*) value=$(_pinproof_value "$path|$word") ; continue ;;
    esac
    if [ -n "$value" ]; then value= ; continue ; fi
    subs=" $(_pinproof_commands "$path") "
    case $subs in *" $word "*) path=${path:+$path }$word ;; esac
  done
  [ "$begin" != = ] || begin=
  if [ -n "$value" ]; then
    _pinproof_offer "$value" "$begin"
  elif [[ $begin == -* ]]; then
    mapfile -t COMPREPLY < <(compgen -W "$(_pinproof_options "$path")" -- "$begin")
  elif subs=$(_pinproof_commands "$path"); [ -n "$subs" ]; then
    mapfile -t COMPREPLY < <(compgen -W "$subs" -- "$begin")
  else
    _pinproof_offer "$(_pinproof_argument "$path")" "$begin"
  fi
}

complete -F _pinproof pinproof
)SH";
// clang-format on

std::string word_of(Completion completion) {
  switch (completion) {
    case Completion::choice:
      return "choice";
    case Completion::file:
      return "file";
    case Completion::folder:
      return "folder";
    case Completion::profile:
      return "profile";
    case Completion::text:
      return "text";
    case Completion::none:
      break;
  }
  return "flag";
}

std::string value_of(const Entry& entry) {
  const std::string word = word_of(entry.completion);
  return entry.choices.empty() ? word : word + " " + joined(entry.choices, " ");
}

void add_case(const std::string& key, const std::string& printed, std::string& out) {
  out += "    " + shell_quoted(key) + ") printf '%s' " + shell_quoted(printed) + " ;;\n";
}

}  // namespace

std::string bash_completion(const Page& program) {
  std::string options, values, commands, arguments;
  for (const Taking& one : all_taking(program)) {
    const std::string key = joined(one.page->path, " ");
    std::vector<std::string> flags, below;
    for (const Entry& entry : one.options) {
      flags.insert(flags.end(), entry.flags.begin(), entry.flags.end());
      if (entry.completion == Completion::none) continue;
      add_case(key + "|" + entry.name, value_of(entry), values);
    }
    add_case(key, joined(flags, " "), options);
    for (const Page& sub : one.page->commands) below.push_back(sub.path.back());
    if (!below.empty()) add_case(key, joined(below, " "), commands);
    if (const Completion first = argument_of(*one.page); first != Completion::text)
      add_case(key, word_of(first), arguments);
  }
  std::string out(kHead);
  out.append(options).append(kValues).append(values).append(kCommands).append(commands);
  return out.append(kArguments).append(arguments).append(kTail);
}

}  // namespace pinproof::app
