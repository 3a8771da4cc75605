#!/usr/bin/env python3
"""Man pages, completions and the Debian changelog, at build time.

generate.py DOCUMENTS VERSION DEVELOPERS.md MAINTAINER OUT
DOCUMENTS is the program pinproof_documents, which writes the pages and completions.
OUT is emptied first. OUT/epoch tells cpack the time of the newest entry.
"""
import calendar
import os
import pathlib
import re
import shutil
import subprocess
import sys
import textwrap
import time


def entries(text):
    """(version, seconds, lines) of each "### 0.1.0, 2026-11-26" under "## Changes"."""
    section = re.search(r"^## Changes\n(.*?)(?=^## |\Z)", text, re.M | re.S)
    found = re.split(r"^### ([\d.]+), (\d{4}-\d\d-\d\d)\n", section[1], flags=re.M)[1:] if section else []
    if not found:
        raise SystemExit('generate.py: no "## Changes" with a "### VERSION, DAY" in the developers\' page')
    for version, day, lines in zip(*[iter(found)] * 3):
        when = calendar.timegm(time.strptime(day, "%Y-%m-%d"))
        yield version, when, [line[2:] for line in lines.splitlines() if line.startswith("- ")]


def changelog(found, maintainer):
    out = []
    for version, when, lines in found:
        out += [f"pinproof ({version}) bookworm; urgency=medium", ""]
        for line in lines:
            plain = re.sub(r"[`*]", "", line)
            out += textwrap.wrap(plain, 76, initial_indent="  * ", subsequent_indent="    ")
        stamp = time.strftime("%a, %d %b %Y %H:%M:%S +0000", time.gmtime(when))
        out += ["", f" -- {maintainer}  {stamp}", ""]
    return "\n".join(out)


def main(documents, version, developers, maintainer, out):
    out = pathlib.Path(out)
    shutil.rmtree(out, ignore_errors=True)
    found = list(entries(pathlib.Path(developers).read_text(encoding="utf-8")))
    if found[0][0] != version:
        raise SystemExit(f"generate.py: the newest change is {found[0][0]}, the program is {version}")
    epoch = int(os.environ.get("SOURCE_DATE_EPOCH", found[0][1]))
    subprocess.run([documents, str(out), str(epoch)], check=True)
    (out / "changelog").write_text(changelog(found, maintainer), encoding="utf-8")
    # The program instead of Python's module: its -n leaves out name and time.
    subprocess.run(["gzip", "-9n", *map(str, sorted((out / "man1").iterdir())), str(out / "changelog")], check=True)
    (out / "epoch").write_text(str(epoch), encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
