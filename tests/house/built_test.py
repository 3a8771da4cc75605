"""Every source is compiled and every test is run.

built_test.py BUILD SOURCES: each .cpp of src, drivers and tests stands in BUILD's
compile commands, and each test program, script and page module of tests is named by
a registered test, or by a file that is. A file that nobody builds rots in silence.
"""

import json
import os
import pathlib
import re
import subprocess
import sys

# Sources that another file builds, and which.
ELSEWHERE = {
    "tests/house/planted/src/counted.cpp": "tests/house/house_finds_test.py",
    "tests/house/planted/src/faulty.cpp": "tests/house/tidy_test.sh",
    "tests/house/planted/src/sound.cpp": "tests/house/tidy_test.sh",
    "tests/fuzz/entry.cpp": "tests/fuzz/CMakeLists.txt",  # clang only
    "tests/speed/peers/ceres_peer.cpp": "tests/speed/fits",
    "tests/speed/peers/eigen_peer.cpp": "tests/speed/fits",
}
PARTS = {"screen_": "tests/screen/screen_test.py"}  # modules that are loaded by the rest of their name
SCRIPTS = {".py", ".sh", ".mjs"}


def compiled(build):
    commands = json.loads((build / "compile_commands.json").read_text())
    return {os.path.realpath(os.path.join(c["directory"], c["file"])) for c in commands}


def unbuilt(build, sources):
    known = compiled(build)
    for folder in ("src", "drivers", "tests"):
        for path in sorted((sources / folder).rglob("*.cpp")):
            name = path.relative_to(sources).as_posix()
            if str(path) in known:
                continue
            builder = ELSEWHERE.get(name)
            if not builder or path.name not in (sources / builder).read_text():
                yield name


def registered(build):
    shown = subprocess.run(
        ["ctest", "--test-dir", build, "--show-only=json-v1"],
        check=True, capture_output=True, text=True).stdout
    return [" ".join(test.get("command", [])) for test in json.loads(shown)["tests"]]


def unrun_programs(build, commands):
    text = (build / "compile_commands.json").read_text()
    for folder, name in sorted(set(re.findall(r"(tests/[\w/]+)/CMakeFiles/(\w+_test)\.dir", text))):
        if not any(str(build / folder / name) in command for command in commands):
            yield f"{folder}/{name}"


def texts_of(sources):
    for path in sorted((sources / "tests").rglob("*")):
        if path.is_file() and (path.suffix in SCRIPTS | {".cpp", ".txt", ""}):
            yield path, path.read_text(errors="replace")


def is_used(path, name, texts):
    for prefix, loader in PARTS.items():
        if path.name.startswith(prefix) and name != loader:
            part = path.stem.removeprefix(prefix)
            if any(f'"{part}"' in text for other, text in texts.items() if str(other).endswith(loader)):
                return True
    return any(other != path and (path.name in text or re.search(rf"(import|from) {path.stem}\b", text))
               for other, text in texts.items())


def unrun_scripts(sources, commands):
    texts = dict(texts_of(sources))
    for path in texts:
        name = path.relative_to(sources).as_posix()
        if path.suffix in SCRIPTS and not any(str(path) in command for command in commands):
            if not is_used(path, name, texts):
                yield name


def main():
    build, sources = (pathlib.Path(os.path.realpath(a)) for a in sys.argv[1:3])
    commands = registered(build)
    bad = [f"{name}: is compiled by nothing" for name in unbuilt(build, sources)]
    bad += [f"{name}: is no registered test" for name in unrun_programs(build, commands)]
    bad += [f"{name}: is run by nothing" for name in unrun_scripts(sources, commands)]
    for line in bad:
        print(line, file=sys.stderr)
    print(f"{len(compiled(build))} sources compiled, {len(commands)} tests registered, {len(bad)} forgotten")
    return 1 if bad or len(commands) < 20 else 0


sys.exit(main())
