"""Man pages from the program's own help: one for the program, one a command."""
import re
import time

EXITS = [("0", "accept, or done"), ("1", "reject"), ("2", "hold"), ("3", "wrong usage or file"),
         ("4", "bench fault"), ("5", "stopped")]
VARIABLES = [
    ("PINPROOF_LEDGER", "Where records are kept, if no \"--ledger\" says otherwise."),
    ("PINPROOF_SHARE", "Folder that holds \"profiles\" and \"dialects\", instead of the installed one."),
    ("PINPROOF_BROWSER", "Program that prints PDF files as Chromium does."),
    ("XDG_DATA_HOME", "Holds \"pinproof/ledger.sqlite\"; ~/.local/share if it is not set.")]
FILES = [
    ("/usr/share/pinproof/profiles", "Installed profiles; their names serve as \"--profile\"."),
    ("/usr/share/pinproof/dialects", "How families of instruments are spoken to."),
    ("~/.local/share/pinproof/ledger.sqlite", "The records, if nothing else is said."),
    ("~/.config/pinproof/bench.json", "The bench file of the user unit pinproof-screen.service.")]


def roff(text):
    text = text.replace("\\", "\\e").replace("-", "\\-").replace("~", "\\(ti").replace("^", "\\(ha")
    text = text.replace("'", "\\(aq").replace("`", "\\(ga")
    return re.sub(r"^(?=\.)", r"\\&", text)


def bold(text):
    return f"\\fB{roff(text)}\\fR"


def remarks(e):
    """What the help says in its own short form, as sentences."""
    out = [e.text.rstrip(".") + "."] if e.text else []
    if e.choices:
        out.append("One of " + ", ".join(e.choices) + ".")
    if e.range:
        out.append("From " + e.range.replace(" - ", " to ") + ".")
    if e.default:
        out.append(f"Default: {e.default}.")
    if e.excludes:
        out.append("Not together with " + ", ".join(e.excludes) + ".")
    if e.needs:
        out.append("Only with " + ", ".join(e.needs) + ".")
    if e.required:
        out.append("Required.")
    return roff(" ".join(out))


def tagged(pairs):
    return [line for head, text in pairs for line in (".TP", head, text)]


def entries(items):
    def head(e):
        shown = ", ".join(bold(flag) for flag in e.flags) or f"\\fI{roff(e.name)}\\fR"
        value = f" \\fI{roff(e.type)}\\fR" if e.type and e.flags else ""
        return shown + value + (" ..." if e.repeated else "")
    return tagged((head(e), remarks(e)) for e in items)


def body(page, section):
    """Arguments of one command; `section` is the macro of its headings."""
    out = []
    if page.positionals:
        out += [section + " ARGUMENTS", *entries(page.positionals)]
    return out + [section + " OPTIONS", *entries(page.options)]


def nested(page):
    out = []
    for sub in page.commands:
        out += [f'.SS "{roff(" ".join(sub.path))}"', roff(sub.about[0]) + ".", ".PP",
                bold(sub.usage), *entries([*sub.positionals, *sub.options])]
    return out


def commands(page):
    return tagged((bold(sub.path[-1]), roff(sub.about[0]) + ".") for sub in page.commands)


def man(page, others, version, epoch):
    """One page; `others` are the names of all pages."""
    name = "-".join(["pinproof", *page.path])
    day = time.strftime("%Y-%m-%d", time.gmtime(epoch))
    about = page.about[0].removeprefix("pinproof: ")
    out = [f'.TH {roff(name.upper())} 1 "{day}" "pinproof {version}" "User Commands"', ".nh", ".ad l",
           ".SH NAME", f"{roff(name)} \\- {roff(about.rstrip('.'))}",
           ".SH SYNOPSIS", bold(page.usage)]
    out += [".SH DESCRIPTION", roff(about.rstrip(".")) + "."]
    if page.commands:
        out += [".SH COMMANDS", *commands(page)]
    out += body(page, ".SH")
    if page.path and page.commands:
        out += [".SH OPTIONS OF THE COMMANDS", *nested(page)]
    if page.example:
        out += [".SH EXAMPLES", ".nf", *map(roff, page.example), ".fi"]
    out += [".SH EXIT STATUS", *tagged((bold(code), roff(text) + ".") for code, text in EXITS)]
    out += [".SH ENVIRONMENT", *tagged((bold(n), roff(t)) for n, t in VARIABLES)]
    out += [".SH FILES", *tagged((f"\\fI{roff(n)}\\fR", roff(t)) for n, t in FILES)]
    see = [f"{bold(other)}(1)" for other in others if other != name]
    return "\n".join(out + [".SH SEE ALSO", ",\n".join(see)]) + "\n"


def write(top, folder, version, epoch):
    folder.mkdir(parents=True)
    pages = [top, *top.commands]
    names = ["-".join(["pinproof", *page.path]) for page in pages]
    for name, page in zip(names, pages):
        (folder / f"{name}.1").write_text(man(page, names, version, epoch), encoding="utf-8")
    return [folder / f"{name}.1" for name in names]
