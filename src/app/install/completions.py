"""Shell completions for bash, zsh and fish, from the program's own help."""


def flat(page, above=()):
    """(page, options) of each command; a command of a command takes the outer options too."""
    known = {e.name for e in page.options}
    options = page.options + [e for e in above if e.name not in known]
    yield page, options
    for sub in page.commands:
        yield from flat(sub, options if page.path else ())


def value(e):
    return "choice " + " ".join(e.choices) if e.kind == "choice" else e.kind


def argument(page):
    return page.positionals[0].kind if page.positionals else "text"


def bash_cases(top):
    options, kinds, commands, arguments = [], [], [], []
    for page, known in flat(top):
        key = " ".join(page.path)
        names = " ".join(flag for e in known for flag in e.flags)
        options.append(f"    '{key}') printf '%s' '{names}' ;;")
        kinds += [f"    '{key}|{e.name}') printf '%s' '{value(e)}' ;;" for e in known if e.kind != "flag"]
        if page.commands:
            commands.append(f"    '{key}') printf '%s' '{' '.join(sub.path[-1] for sub in page.commands)}' ;;")
        if argument(page) != "text":
            arguments.append(f"    '{key}') printf '%s' '{argument(page)}' ;;")
    return options, kinds, commands, arguments


BASH = """# bash completion for pinproof, made from its own help

_pinproof_options() {
  case $1 in
@OPTIONS@
  esac
}

# What completes the value of "command|--option"; nothing for a flag.
_pinproof_value() {
  case $1 in
@KINDS@
  esac
}

_pinproof_commands() {
  case $1 in
@COMMANDS@
  esac
}

_pinproof_argument() {
  case $1 in
@ARGUMENTS@
  esac
}

_pinproof_profiles() {
  local program folder file
  program=$(readlink -f "$(type -P pinproof)")
  folder=${PINPROOF_SHARE:-${program%/bin/*}/share/pinproof}
  for file in "$folder"/profiles/*.json; do
    [ -e "$file" ] || continue
    file=${file##*/}
    printf '%s\\n' "${file%.json}"
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
"""


def bash(top):
    out = BASH
    for mark, lines in zip(("@OPTIONS@", "@KINDS@", "@COMMANDS@", "@ARGUMENTS@"), bash_cases(top)):
        out = out.replace(mark, "\n".join(lines))
    return out


def quoted(text):
    return "'" + text.replace("'", "'\\''") + "'"


def zsh_plain(text):
    for mark in "\\[]:":
        text = text.replace(mark, "\\" + mark)
    return text


def zsh_action(e):
    return {"choice": "(" + " ".join(e.choices) + ")", "profile": "_pinproof_profiles", "file": "_files",
            "folder": "_files -/", "text": " ", "flag": ""}[e.kind]


def zsh_specs(page, options):
    out = []
    for e in options:
        many = "*" if e.repeated else ""
        tail = f":{e.type.lower()}:{zsh_action(e)}" if e.type else ""
        out += [quoted(f"{many}{flag}[{zsh_plain(e.text)}]{tail}") for flag in e.flags]
    if page.commands:
        out += [quoted("1:command:->command"), quoted("*::argument:->rest")]
    else:
        out += [quoted(f"{'*' if e.repeated else ''}:{zsh_plain(e.name)}:{zsh_action(e)}") for e in page.positionals]
    return out


def zsh_function(page, options):
    name = "_".join(["_pinproof", *page.path])
    lines = [f"{name}() {{"]
    if page.commands:
        lines += ["  local curcontext=$curcontext state line", "  typeset -A opt_args"]
    lines.append("  _arguments " + ("-C " if page.commands else "") + " \\\n    ".join(zsh_specs(page, options)))
    if page.commands:
        described = " ".join(quoted(f"{s.path[-1]}:{zsh_plain(s.about[0])}") for s in page.commands)
        lines += ["  case $state in", f"    command) local -a names; names=({described}); _describe command names ;;",
                  "    rest) case $line[1] in"]
        lines += [f"      {s.path[-1]}) {'_'.join(['_pinproof', *s.path])} ;;" for s in page.commands]
        lines += ["    esac ;;", "  esac"]
    return "\n".join(lines + ["}"])


ZSH_PROFILES = """_pinproof_profiles() {
  local program=${${:-$commands[pinproof]}:A}
  local folder=${PINPROOF_SHARE:-${program:h:h}/share/pinproof}
  local -a names; names=($folder/profiles/*.json(N:t:r))
  _alternative "profiles:installed profile:($names)" 'files:file:_files -g "*.json"'
}"""


def zsh(top):
    functions = [zsh_function(page, options) for page, options in flat(top)]
    return "\n\n".join(["#compdef pinproof\n# Made from pinproof's own help.", ZSH_PROFILES, *functions,
                        '_pinproof "$@"']) + "\n"


FISH = """# fish completion for pinproof, made from its own help
function __pinproof_profiles
    set -l folder (path dirname (path dirname (path resolve (command -s pinproof))))/share/pinproof
    set -q PINPROOF_SHARE; and set folder $PINPROOF_SHARE
    for file in $folder/profiles/*.json
        path change-extension '' (path basename $file)
    end
    __fish_complete_suffix .json
end

complete -c pinproof -f
"""


def fish_where(path):
    if not path:
        return "__fish_use_subcommand"
    return "; and ".join(f"__fish_seen_subcommand_from {word}" for word in path)


def fish_value(e):
    return {"choice": f" -x -a {quoted(' '.join(e.choices))}", "profile": " -x -a '(__pinproof_profiles)'",
            "file": " -r -F", "folder": " -x -a '(__fish_complete_directories)'", "text": " -x", "flag": ""}[e.kind]


def fish(top):
    out = [FISH]
    for page, _ in flat(top):
        where = f"complete -c pinproof -n {quoted(fish_where(page.path))}"
        names = " ".join(sub.path[-1] for sub in page.commands)
        only = fish_where(page.path) + (f"; and not __fish_seen_subcommand_from {names}" if page.path else "")
        out += [f"complete -c pinproof -n {quoted(only)} -a {sub.path[-1]} -d {quoted(sub.about[0])}"
                for sub in page.commands]
        for e in page.options:
            short = "".join(f" -s {flag[1:]}" for flag in e.flags if not flag.startswith("--"))
            out.append(f"{where}{short} -l {e.name[2:]}{fish_value(e)} -d {quoted(e.text)}")
        if argument(page) == "profile":
            out.append(f"{where} -a '(__pinproof_profiles)'")
        elif argument(page) == "file":
            out.append(f"{where} -F")
    return "\n".join(out) + "\n"


def write(top, folder):
    for name, text in (("bash/pinproof", bash(top)), ("zsh/_pinproof", zsh(top)), ("fish/pinproof.fish", fish(top))):
        path = folder / name
        path.parent.mkdir(parents=True)
        path.write_text(text, encoding="utf-8")
