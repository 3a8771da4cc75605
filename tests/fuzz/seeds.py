#!/usr/bin/python3
"""Gathers first inputs of one fuzz target: seeds.py TARGET FOLDER [PINPROOF]

From profiles/, drivers/dialects/, examples/, tests/data and tests/fuzz/corpus/TARGET. With the
program at hand also what it writes itself: a bench file and a record of a simulated inspection.
"""
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
PROJECT = HERE.parent.parent


def files(*patterns):
    return [path for pattern in patterns for path in sorted(PROJECT.glob(pattern))]


def small(profile, parts):
    """The same pack with its first parts only: small inputs are tried far more often."""
    out = json.loads(profile.read_text())
    kept = [part["name"] for part in out["parts"][:parts]]
    out["parts"] = out["parts"][:parts]
    for key in ("lever", "gears", "trouble_codes", "face", "load"):
        out.pop(key, None)
    out["sources"] = out.get("sources", [])[:1]
    return json.dumps(out), kept


def profiles():
    for path in files("profiles/*.json"):
        yield path.name, path.read_bytes()
        yield "compact-" + path.name, json.dumps(json.loads(path.read_text())).encode()
        for parts in (1, 4):
            yield f"small-{parts}-{path.name}", small(path, parts)[0].encode()


def dialects():
    messages = b"\0*IDN?\nSENS:FRES:NPLC 1\nROUT:CLOS (@1!1,2!3)\nCHAN1:RANG 4\nCONF:RES DEF,DEF\n"
    for path in files("drivers/dialects/*.json"):
        yield path.name, path.read_bytes() + messages


def captures():
    """Every tenth row: an analysis of fewer samples is quicker."""
    for path in files("tests/data/spice/*.csv"):
        lines = path.read_text().splitlines()
        if len(lines) < 500:
            continue
        rows = lines[1:][::10]
        yield path.name, "\n".join(["", lines[0]] + rows[:900]).encode()
        tabs = [row.replace(",", "\t").replace(".", ",") for row in rows[:200]]
        top = ["time=1,voltage=2,current=3", lines[0].replace(",", "\t")]
        yield "comma-" + path.name, "\n".join(top + tabs).encode()


def written(program, work):
    """A bench file and a record, as the program itself writes them."""
    profile = PROJECT / "profiles/four-speed-13-pin.json"
    bench, record = work / "bench.json", work / "record.json"
    command = [program, "simulate", "--profile", profile, "--bench-file", bench, "--speed", "0"]
    bench_process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(100):
            if bench.exists() and bench.stat().st_size:
                break
            try:
                bench_process.wait(0.1)
                return
            except subprocess.TimeoutExpired:
                pass
        subprocess.run([program, "inspect", "--profile", profile, "--bench", bench, "--static",
                        "--ledger", "none", "--record", record], stdout=subprocess.DEVNULL,
                       stderr=subprocess.DEVNULL, timeout=120, check=False)
    finally:
        bench_process.terminate()
        bench_process.wait()


def from_program(target, program):
    with tempfile.TemporaryDirectory() as folder:
        work = pathlib.Path(folder)
        written(program, work)
        for name in {"bench": ["bench.json"], "record": ["record.json"]}.get(target, []):
            if (work / name).exists():
                yield "program-" + name, (work / name).read_bytes()


def seeds(target):
    if target == "profile":
        yield from profiles()
    elif target == "dialect":
        yield from dialects()
    elif target == "capture":
        yield from captures()
    elif target in ("readings", "observed"):
        for path in files("examples/observed-*.json", "examples/readings-*.json"):
            yield path.name, path.read_bytes()
    elif target == "bench":
        for path in files("examples/**/*.json"):
            if "pinproof/bench/1" in path.read_text():
                yield path.name, path.read_bytes()


def main():
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    target, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    for source in (HERE / "corpus" / target, HERE / "regressions" / target):
        for path in source.glob("*") if source.is_dir() else []:
            shutil.copy(path, folder / path.name)
    gathered = list(seeds(target))
    if len(sys.argv) > 3 and target in ("bench", "record"):
        gathered += from_program(target, sys.argv[3])
    for name, content in gathered:
        (folder / name).write_bytes(content)


main()
