"""The program's own --help, read into plain data for man pages and completions."""
import re
import subprocess
from dataclasses import dataclass, field

COLUMN = 30  # where the program starts the descriptions
# What takes a file though its description does not say the word.
FILES = {"--observed", "--readings", "--known-good", "--study", "--reference"}


@dataclass
class Entry:
    """An option, a positional or a subcommand, as its line stands in the help."""
    name: str
    text: str
    flags: list = field(default_factory=list)
    type: str = ""
    range: str = ""
    default: str = ""
    choices: list = field(default_factory=list)
    required: bool = False
    repeated: bool = False
    excludes: list = field(default_factory=list)
    needs: list = field(default_factory=list)

    @property
    def kind(self):
        """What completes its value: flag, choice, profile, file, folder or text."""
        if not self.type:
            return "flag"
        if self.choices:
            return "choice"
        if self.name.lstrip("-") == "profile":
            return "profile"
        if self.text.startswith("Folder"):
            return "folder"
        if self.name in FILES or re.search(r"\bfiles?\b", self.text, re.I):
            return "file"
        return "text"


@dataclass
class Page:
    path: list  # [] for the program, ["records", "find"] for a command of a command
    about: list = field(default_factory=list)
    usage: str = ""
    positionals: list = field(default_factory=list)
    options: list = field(default_factory=list)
    commands: list = field(default_factory=list)  # pages
    example: list = field(default_factory=list)


def listed(lines):
    """(head, description) of each entry of a section."""
    out = []
    deep = " " * COLUMN
    for line, after in zip(lines, [*lines[1:], ""]):
        if line.startswith(deep):
            out[-1][1] = line.strip()
        elif after.startswith(deep):  # a head too long for its column stands alone
            out.append([line.strip(), ""])
        elif line.strip():
            out.append([line[:COLUMN].strip(), line[COLUMN:].strip()])
    return out


def names_after(word, text):
    """Takes "Needs: --a --b" out of a head."""
    found = re.search(word + r":((?: --?[\w-]+)+)", text)
    if not found:
        return [], text
    return found[1].split(), text.replace(found[0], "")


def entry(head, text):
    out = Entry(name="", text=text)
    first, _, rest = head.partition(" ")
    out.flags = first.split(",") if first.startswith("-") else []
    out.name = out.flags[-1] if out.flags else first
    out.excludes, rest = names_after("Excludes", rest)
    out.needs, rest = names_after("Needs", rest)
    words = re.match(r"(?P<type>(?!REQUIRED)[A-Z]+)?(?::\{(?P<choices>[^}]*)\})?"
                     r"(?::[A-Z]+ in \[(?P<range>[^\]]*)\])?(?:=(?P<default>\S+))?(?P<rest>.*)$", rest.strip())
    out.type = words["type"] or ""
    out.choices = words["choices"].split(",") if words["choices"] else []
    out.range, out.default = words["range"] or "", words["default"] or ""
    out.required = "REQUIRED" in rest
    out.repeated = "..." in rest
    if re.sub(r"REQUIRED|\.\.\.|x \d+", "", words["rest"]).strip():
        raise SystemExit(f"help_text.py: {head!r} has another form")
    return out


def read(program, path=()):
    """The page of a command and of all below it."""
    help_ = subprocess.run([program, *path, "--help"], check=True, capture_output=True,
                           text=True, encoding="utf-8").stdout
    page = Page(path=list(path))
    sections = {"": []}
    now = ""
    for line in help_.splitlines():
        if line.startswith("Usage: "):
            page.usage = " ".join(["pinproof", *line.split()[2:]])
        elif re.fullmatch(r"[A-Z][a-z]+:", line):
            now = line[:-1]
            sections[now] = []
        else:
            sections[now].append(line)
    page.about = [line for line in sections[""] if line.strip()]
    page.positionals = [entry(*e) for e in listed(sections.get("Positionals", []))]
    page.options = [entry(*e) for e in listed(sections.get("Options", []))]
    page.example = [line.strip() for line in sections.get("Example", []) if line.strip()]
    page.commands = [read(program, [*path, head]) for head, _ in listed(sections.get("Subcommands", []))]
    if not page.about or not page.usage or not page.options:
        raise SystemExit(f"help_text.py: the help of {' '.join(['pinproof', *path])} has another form")
    return page
