"""Prints what llvm-cov exported, added up by folder: coverage_table.py JSON SOURCES"""

import collections
import json
import os
import sys

KINDS = ("lines", "functions", "branches")
LEAST = 10  # files that are told by name


def share(covered, count):
    return f"{100 * covered / count:6.1f}" if count else "     -"


def main():
    exported, root = sys.argv[1:3]
    folders = collections.defaultdict(lambda: {kind: [0, 0] for kind in KINDS})
    files = []
    with open(exported, encoding="utf-8") as text:
        shown = json.load(text)["data"][0]["files"]
    for one in shown:
        name = os.path.relpath(os.path.realpath(one["filename"]), os.path.realpath(root))
        if not name.startswith(("src/", "drivers/")):
            continue
        for group in ("/".join(name.split("/")[:2]), "all"):
            for kind in KINDS:
                folders[group][kind][0] += one["summary"][kind]["covered"]
                folders[group][kind][1] += one["summary"][kind]["count"]
        lines = one["summary"]["lines"]
        files.append((lines["covered"] / max(lines["count"], 1), lines["count"], name))
    print(f"{'folder':<20} {'lines':>7} {'lines %':>8} {'functions %':>12} {'branches %':>11}")
    for name in sorted(folders, key=lambda n: (n == "all", n)):
        of = folders[name]
        print(f"{name:<20} {of['lines'][1]:7d} {share(*of['lines']):>8} {share(*of['functions']):>12} "
              f"{share(*of['branches']):>11}")
    print("least covered:")
    for covered, count, name in sorted(files)[:LEAST]:
        print(f"{100 * covered:6.1f} % of {count:4d} lines  {name}")
    return 0 if folders["all"]["lines"][1] else 3


sys.exit(main())
