"""house.py finds what it is asked to find.

A small sound house passes; with each fault planted into it alone, house.py names this one
fault and no other, and fails. What the scanners count in planted/src/counted.cpp and
counted.js is what stands there beside each function. Without this a measure that finds nothing would look like
a house in order.

house_finds_test.py SOURCES
"""

import pathlib
import re
import subprocess
import sys
import tempfile

from cpp_source import Source
from js_source import JsSource

HERE = pathlib.Path(__file__).resolve().parent

SOUND = {
    "CMakeLists.txt": "set(PINPROOF_FLOORS\n  ground first/low first/high link app)\nset(PINPROOF_DRIVERS link)\n",
    "src/ground/beam.h": "#pragma once\nnamespace house { struct Beam { int length = 0; }; }\n",
    "src/ground/wall.h": '#pragma once\n#include "ground/beam.h"\nnamespace house { struct Wall { Beam beam; }; }\n',
    "src/first/low/named.cpp": "using Length = int;\nusing Beam = house::Beam;\nstruct Beam;\n",
    "src/first/high/named.cpp": "using Length = int;\nenum { kOne };\ntemplate <> struct Beam<int> {};\n",
    "src/first/low/room.cpp": '#include "ground/wall.h"\nnamespace house { int size(const Wall& w) { return w.beam.length; } }\n',
    "drivers/link/cable.h": '#pragma once\n#include "ground/beam.h"\n',
    "src/app/main.cpp": '#include "link/cable.h"\nconstexpr int kMany = 3;\nint main() { return kMany - 3; }\n',
    "src/app/stop.cpp": "int& source() { static int the_source = 0; return the_source; }\n",
    "tests/first/room_test.cpp": "int tested() { return 0; }\n",
}


def function_of(lines):
    return "int planted() {\n" + "  int a = 0;\n" * (lines - 3) + "  return 0;\n}\n"


def branches_of(count, more=""):
    return "int planted(int a) {\n" + "  if (a == 1) return 2;\n" * (count - 1) + f"  return {more or 0};\n}}\n"


def branches_in_js(count):
    return "export function planted(a) {\n" + "  if (a === '{') return /[/{]/;\n" * (count - 1) + "}\n"


# What is planted: files, and the one fault that is to be named.
PLANTED = {
    "long function": ({"src/first/long.cpp": function_of(61)}, r"lines of a function: planted .* has 61\b"),
    "long lambda": (
        {"src/app/long.cpp": "const auto kDo = []() {\n" + "  ;\n" * 59 + "};\n"},
        r"lines of a function: lambda in kDo .* has 61\b"),
    "branched function": ({"drivers/link/many.cpp": branches_of(21)},
                          r"complexity of a function: planted .*many.cpp.* has 21\b"),
    "branched by && and ?:": ({"src/ground/more.h": branches_of(19, "a && a > 1 ? 1 : 0")},
                              r"complexity of a function: planted .*more.h.* has 21\b"),
    "branched script": ({"src/first/many.js": branches_in_js(21)},
                        r"complexity of a function: planted .*many.js.* has 21\b"),
    "long arrow function": ({"src/first/long.js": "const a = () => {\n" + ";\n" * 59 + "};\n"},
                            r"lines of a function: lambda in .*long.js.* has 61\b"),
    "brackets that do not pair": ({"src/first/torn.cpp": 'auto kText = R"(a ")" b)";\n'},
                                  r"cannot be read: src/first/torn.cpp:1: \) closes nothing"),
    "long file": ({"tests/first/long.sh": "true\n" * 401}, r"lines of a file: tests/first/long.sh has 401\b"),
    "long style sheet": ({"src/first/page.css": "\n" * 401}, r"lines of a file: src/first/page.css has 401\b"),
    "circle of files": ({"src/ground/beam.h": '#include "ground/wall.h"\n'},
                        r"circle of files: src/ground/beam.h, src/ground/wall.h"),
    "arrow upward": ({"src/first/low/room.cpp": '#include "app/main.h"\n'},
                     r"arrow upward: src/first/low/room.cpp includes src/app/main.h"),
    "arrow upward between rooms": ({"src/first/low/room.cpp": '#include "first/high/roof.h"\n'},
                                   r"arrow upward: src/first/low/room.cpp includes src/first/high"),
    "arrow to a driver": ({"CMakeLists.txt": SOUND["CMakeLists.txt"].replace("first/low", "link first/low"),
                           "src/first/low/cabled.h": '#include "link/cable.h"\n'},
                          r"arrow to a driver: src/first/low/cabled.h includes drivers/link/cable.h"),
    "folder without a floor": ({"src/attic/box.h": '#include "ground/beam.h"\n'},
                               r"no floor: attic of src/attic/box.h"),
    "test beside the code": ({"src/first/room_test.cpp": "int tested() { return 0; }\n"},
                             r"test outside of tests: src/first/room_test.cpp"),
    "types of one name": (
        {"src/first/other.cpp": "namespace house::first { namespace { enum class Beam { on }; } }\n"},
        r"types that share a name: Beam of house in src/ground/beam.h:2, of house::first::\(anon"),
    "a nested type's name": ({"src/first/other.h": "struct Room { class Wall {}; };\n"},
                             r"types that share a name: Wall of Room in src/first/other.h:1, of house"),
    "other types by one alias": (
        {"src/first/one.cpp": "using Row = int;\n", "src/first/two.cpp": "using Row = long;\n"},
        r"types that share a name: Row of  in src/first/one.cpp:1, of  in src/first/two.cpp:1"),
    "global of a command": ({"src/app/run.cpp": "namespace {\nstruct Given { int n = 0; } given;\n}\n"},
                            r"variable that lasts: given of src/app/run.cpp:2"),
    "global by braces": ({"src/app/run.cpp": "#include <map>\nstd::map<int, int> all{};\n"},
                         r"variable that lasts: all of src/app/run.cpp:2"),
    "pointer to what is constant": ({"src/app/run.cpp": "const char* name = nullptr;\n"},
                                    r"variable that lasts: name of src/app/run.cpp:1"),
    "static in a function": ({"src/app/run.cpp": "int count() { static int n = 0; return ++n; }\n"},
                             r"variable that lasts: n of src/app/run.cpp:1"),
    "static member": ({"src/app/run.h": "struct Run { static inline int count = 0; };\n"},
                      r"variable that lasts: count of src/app/run.h:1"),
}
# A circle of folders cannot be without an arrow upward.
BOTH = {
    "circle of folders": ({"src/ground/shelf.h": '#include "first/low/room.h"\n'},
                          [r"circle of folders: first/low, ground", r"arrow upward: src/ground/shelf.h includes"]),
}


def examined(files):
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            path = pathlib.Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text)
        run = subprocess.run([sys.executable, HERE / "house.py", folder], capture_output=True, text=True)
    return run.returncode, run.stderr.splitlines()


def planted_faults():
    cases = {name: (files, [wanted]) for name, (files, wanted) in PLANTED.items()} | BOTH
    for name, (files, wanted) in cases.items():
        code, said = examined(SOUND | files)
        left = [line for line in said if not any(re.search(one, line) for one in wanted)]
        unfound = [one for one in wanted if not any(re.search(one, line) for line in said)]
        if code != 1 or left or unfound or len(said) != len(wanted):
            yield f"{name}: exit {code}, said {said}, wanted {wanted}"


def miscounted(path, kind):
    source = kind(path.read_text(), path.name)
    told = {}
    for number, line in enumerate(path.read_text().splitlines(), 1):
        if found := re.search(r"// (\d+), (\d+)$", line):
            told[number] = (int(found[1]), int(found[2]))
    counted = {f.line: (f.lines, f.complexity) for f in source.functions}
    for line in sorted(told.keys() | counted.keys()):
        if told.get(line) != counted.get(line):
            yield f"{path.name}:{line}: counts {counted.get(line)}, wanted {told.get(line)}"
    if len(told) < 9:
        yield f"{path.name}: says what {len(told)} functions have"


def main():
    sources = pathlib.Path(sys.argv[1])
    code, said = examined(SOUND)
    bad = [] if code == 0 and not said else [f"sound house: exit {code}, said {said}"]
    bad += planted_faults()
    bad += miscounted(sources / "tests/house/planted/src/counted.cpp", Source)
    bad += miscounted(sources / "tests/house/planted/src/counted.js", JsSource)
    for line in bad:
        print(line, file=sys.stderr)
    print(f"{len(PLANTED) + len(BOTH)} faults planted, {len(bad)} wrong")
    return 1 if bad else 0


sys.exit(main())
