"""The house measures itself: how long, how branched, which way the arrows run.

house.py SOURCES [--list functions|types]

Prints the worst ten of each measure and everything above a limit; exits with 1 where there
is such a thing. --list prints what the scanner took for a function or a type instead, one a
line, to be compared with what a compiler says.
"""

import argparse
import collections
import pathlib
import re
import sys

from cpp_source import Source
from js_source import JsSource

LONGEST_FUNCTION = 60  # lines, from the first of its head to its closing brace
LONGEST_FILE = 400  # lines
MOST_BRANCHES = 20  # cyclomatic complexity
FILES = {".cpp", ".h", ".js", ".mjs", ".css", ".py", ".sh"}
WORST = 10  # how many of each are shown

# What src/app may keep for as long as it runs, and why.
LASTING = {
    ("src/app/stop.cpp", "the_source"): "signals reach a process, not an object",
}


class House:
    def __init__(self, root):
        self.root = root
        self.files = sorted(self._files())
        self.sources, self.pages = {}, {}  # C++, JavaScript
        self.unread = []
        for path in self.files:
            name = path.relative_to(root).as_posix()
            if not name.startswith(("src/", "drivers/")):
                continue
            try:
                if path.suffix in (".cpp", ".h"):
                    self.sources[name] = Source(path.read_text(), name)
                elif path.suffix == ".js":
                    self.pages[name] = JsSource(path.read_text(), name)
            except ValueError as error:
                self.unread.append(f"cannot be read: {error}")
        text = (root / "CMakeLists.txt").read_text()
        self.floors = self._list(text, "PINPROOF_FLOORS")
        self.drivers = self._list(text, "PINPROOF_DRIVERS")

    def _files(self):
        for top in self.root.iterdir():
            if top.is_dir() and not top.name.startswith((".", "build")):
                yield from (path for path in top.rglob("*") if path.suffix in FILES and path.is_file())

    @staticmethod
    def _list(text, name):
        found = re.search(rf"set\({name}\s([^)]*)\)", text)
        if not found:
            raise SystemExit(f"house: CMakeLists.txt sets no {name}")
        return found[1].split()

    def name(self, path):
        return path.relative_to(self.root).as_posix()

    def functions(self):
        for name, source in (self.sources | self.pages).items():
            for function in source.functions:
                yield f"{name}:{function.line}", function

    def folder(self, name):
        """A room within a folder has a floor of its own where PINPROOF_FLOORS names it."""
        steps = name.split("/")[1:-1]
        for end in range(len(steps), 0, -1):
            if "/".join(steps[:end]) in self.floors:
                return "/".join(steps[:end])
        return "/".join(steps[:1])

    def arrows(self):
        """Each include of a file of ours, as (file, file); a made one counts by its folder only."""
        for name, source in self.sources.items():
            for there in source.includes:
                for top in ("src", "drivers"):
                    if (self.root / top / there.split("/")[0]).is_dir():
                        yield name, f"{top}/{there}"


def measured(title, limit, rows):
    """A table of the worst ten; what is above the limit. `rows`: (value, text)."""
    rows = sorted(rows, key=lambda row: -row[0])
    print(f"\n{title}: {len(rows)} measured, at most {limit} wanted")
    for value, text in rows[:WORST]:
        print(f"  {value:5}  {text}")
    return [f"{title}: {text} has {value}, at most {limit} wanted" for value, text in rows if value > limit]


def function_lengths(house):
    return measured("lines of a function", LONGEST_FUNCTION,
                    [(f.lines, f"{f.name}  {where}") for where, f in house.functions()])


def complexities(house):
    return measured(
        "cyclomatic complexity of a function", MOST_BRANCHES,
        [(f.complexity, f"{f.name}  {where}" + (f"  ({f.with_lambdas} with its lambdas)" if f.lambdas else ""))
         for where, f in house.functions()])


def file_lengths(house):
    return measured("lines of a file", LONGEST_FILE,
                    [(len(path.read_bytes().splitlines()), house.name(path)) for path in house.files])


def circles_of(arrows):
    """Sets of nodes that reach each other, by Tarjan."""
    order, low, stack, out = {}, {}, [], []

    def visit(node):
        order[node] = low[node] = len(order)
        stack.append(node)
        for there in arrows.get(node, ()):
            if there not in order:
                visit(there)
            if there in stack:
                low[node] = min(low[node], low[there])
        if low[node] == order[node]:
            circle = stack[stack.index(node):]
            del stack[stack.index(node):]
            if len(circle) > 1 or node in arrows.get(node, ()):
                out.append(sorted(circle))

    for node in list(arrows):
        if node not in order:
            visit(node)
    return out


def circles(house):
    files, folders = collections.defaultdict(set), collections.defaultdict(set)
    for here, there in house.arrows():
        if there in house.sources:
            files[here].add(there)
        if house.folder(here) != house.folder(there):
            folders[house.folder(here)].add(house.folder(there))
    return [f"circle of {what}: {', '.join(circle)}" for what, graph in (("files", files), ("folders", folders))
            for circle in circles_of(graph)]


def upward(house):
    """The folders' order is PINPROOF_FLOORS; of src/ only the app knows a driver."""
    out = []
    for here, there in house.arrows():
        low, high = house.folder(there), house.folder(here)
        lost = [folder for folder in (low, high) if folder not in house.floors]
        if lost:
            out.append(f"no floor: {lost[0]} of {here} is not in PINPROOF_FLOORS")
        elif house.floors.index(low) > house.floors.index(high):
            out.append(f"arrow upward: {here} includes {there}")
        elif low in house.drivers and high not in house.drivers and high != "app":
            out.append(f"arrow to a driver: {here} includes {there}")
    return out


def misplaced_tests(house):
    return [f"test outside of tests: {house.name(path)}" for path in house.files
            if path.name.endswith("_test.cpp") and path.relative_to(house.root).parts[0] != "tests"]


def lasting_variables(house):
    return [f"variable that lasts: {variable.name} of {name}:{variable.line} is not constant"
            for name, source in house.sources.items() if name.startswith("src/app/")
            for variable in source.variables
            if not variable.constant and (name, variable.name) not in LASTING]


def shared_names(house):
    """Types of one name in two scopes. Another name of one and the same type is no second type."""
    types = collections.defaultdict(dict)
    for name, source in house.sources.items():
        for one in source.types:
            if one.alias.split(" ")[-1] != one.name:
                types[one.name].setdefault(one.alias or f"{name}:{one.line}", f"{one.scope} in {name}:{one.line}")
    return [f"types that share a name: {name} of {', of '.join(sorted(those.values()))}"
            for name, those in sorted(types.items()) if len(those) > 1]


CHECKS = [
    ("circles among includes", circles),
    ("arrows upward or to a driver", upward),
    ("tests outside of tests", misplaced_tests),
    ("names that types share", shared_names),
    ("variables of src/app that can change", lasting_variables),
]


def examine(house):
    bad = house.unread + function_lengths(house) + complexities(house) + file_lengths(house)
    print()
    for title, check in CHECKS:
        found = check(house)
        print(f"{title}: {len(found)}")
        bad += found
    print("\nA lambda is a function of its own, in its lines and in its branches; see cpp_source.py and js_source.py.")
    return bad


def listed(house, what):
    if what == "functions":
        return [f"{where} {f.name} {f.complexity}" for where, f in house.functions()]
    return [f"{name}:{one.line} {one.scope}::{one.name}" + (f" = {one.alias}" if one.alias else "")
            for name, source in house.sources.items() for one in source.types]


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("sources", type=pathlib.Path)
    parser.add_argument("--list", choices=["functions", "types"])
    options = parser.parse_args()
    house = House(options.sources.resolve())
    if options.list:
        print(*listed(house, options.list), sep="\n")
        return 0
    if not house.sources:
        raise SystemExit(f"house: no sources in {options.sources}")
    bad = examine(house)
    for line in bad:
        print(line, file=sys.stderr)
    print(f"house: {len(house.sources)} sources, {sum(1 for _ in house.functions())} functions, {len(bad)} faults")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
