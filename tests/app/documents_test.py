"""The documents for users against the program: what they build up, list, link and
show must be so. Commands that need no instruments are run; benches are simulated.
Usage: documents_test.py PINPROOF SOURCES [README]"""
import json
import os
import re
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
from documents_checks import (BENCHES, EXAMPLE, FINDINGS, PROGRAM, README, SOURCES, WRITING, check,
                              failures, fences, run)
from documents_links import links
import documents_sources as src
import technician as t


# --- the worked example -------------------------------------------------------

def merge(into, piece):
    for key, value in piece.items():
        if key == "parts" and key in into:
            for part in value:
                known = [p for p in into[key] if p["name"] == part["name"]]
                known[0].update(part) if known else into[key].append(part)
        elif key == "sources" and key in into:
            into[key] += value
        elif key in into:
            raise ValueError(key + " stands in two steps")
        else:
            into[key] = value


def built_up(text):
    out = {}
    for language, body, _ in fences(text):
        if language == "json":
            merge(out, json.loads(body))
    return out


def worked_example(folder):
    text = src.text_of(WRITING)
    with open(EXAMPLE, encoding="utf-8") as f:
        finished = json.load(f)
    check("the steps put together are examples/chart-nine-pin.json",
          built_up(text) == finished)
    draft = built_up(text[:text.index("## Step 10")])
    check("the draft lacks what step 11 learns",
          all("inductance_H" not in p for p in draft["parts"]) and draft != finished)
    with open(os.path.join(folder, "draft.json"), "w", encoding="utf-8") as f:
        json.dump(draft, f)
    lint = run(["profile", EXAMPLE, "--lint"], folder)
    check("the example lints without error", lint.returncode == 0 and
          "\nerror:" not in lint.stdout, lint.stdout[-400:])
    warnings = [line for line in lint.stdout.splitlines() if line.startswith("warning: ")]
    check("its warnings are five, all of the lever's wiring", len(warnings) == 5 and
          all(w.startswith("warning: /lever") for w in warnings), warnings)
    check("the text says five", "Five warnings remain" in text)


# --- reference tables ---------------------------------------------------------

def first_cells(text):
    out = set()
    for line in text.splitlines():
        if line.startswith("| `"):
            out |= set(re.findall(r"`([^`]+)`", line.split(" | ")[0]))
    return out


def reference_tables():
    # "schema" is asked for by expect_schema, "low" and "high" by interval().
    common = {"schema", "low", "high"}
    asked = src.keys_asked("src/profile/load*.cpp", "src/profile/harness.cpp") | common
    check("keys were found in the profile's loader", len(asked) > 60, len(asked))
    told = first_cells(src.text_of(WRITING))
    check("every key of a profile and a harness is in its table", asked <= told, asked - told)
    check("no key in these tables is invented", told <= asked, told - asked)

    asked = src.keys_asked("src/bench/description.cpp") | {"schema"}
    check("keys were found in the bench's loader", len(asked) > 30, len(asked))
    text = src.text_of(BENCHES)
    begin = text.index("## Bench files: every key")
    told = first_cells(text[begin:text.index("Addresses:", begin)])
    check("every key of a bench file is in its table", asked <= told, asked - told)
    check("no key in these tables is invented (bench)", told <= asked, told - asked)
    known = src.schemes()
    told = {c.split(":")[0] for c in first_cells(text[text.index("Addresses:", begin):])}
    check("every kind of address is in its table", len(known) >= 6 and known <= told,
          known - told)


# --- findings -----------------------------------------------------------------

def findings():
    text = src.text_of(FINDINGS)
    told = set(re.findall(r"`([^`\n]+)`", text))
    kinds = src.kinds_in_sources()
    check("kinds of findings were found in the sources", len(kinds) >= 90, len(kinds))
    check("every finding has its entry", kinds <= told, kinds - told)
    body = text[text.index("## Coils at rest"):text.index("## Outcomes of a diagnosis")]
    invented = {c for c in first_cells(body) if re.match(r"[a-z-]+$", c)} - kinds
    check("no finding is invented", not invented, invented)
    messages = src.messages_in_sources()
    check("messages of the bench were found in the sources", len(messages) > 60, len(messages))
    check("every message of a failing bench has its entry", messages <= told, messages - told)
    outcomes = src.outcomes()
    check("every outcome and verdict has its entry", len(outcomes) == 5 and
          outcomes | {"accept", "reject", "hold"} <= first_cells(text), outcomes)


# --- links and drawings -------------------------------------------------------

# --- example benches ----------------------------------------------------------

def simulated(folder, connect):
    """A bench with a meter that says who it is, for files with its dialect."""
    plain = t.subprocess.Popen
    t.subprocess.Popen = lambda command, **more: plain(
        command + ["--dialect", "meter=meter-34401a"], **more)
    try:
        return t.Bench(PROGRAM, EXAMPLE, 7, [], folder, connect=connect)
    finally:
        t.subprocess.Popen = plain


def bench_files(folder):
    found = {os.path.basename(p) for p in src.sources("examples/bench-*.json")}
    check("a bench file for each kind", found == {"bench-meter-only.json",
                                                  "bench-hand-driven.json", "bench-matrix.json"})
    for name in sorted(found):
        with open(os.path.join(SOURCES, "examples", name), encoding="utf-8") as f:
            bench = json.load(f)
        simulator = simulated(folder, "matrix" if "matrix" in name else "hand")
        try:
            with open(simulator.bench_file, encoding="utf-8") as f:
                there = json.load(f)
            for one in bench["instruments"]:
                if one["driver"] != "hand":
                    one["address"] = [i for i in there["instruments"]
                                      if i["role"] == one["role"]][0]["address"]
            bench["time_scale"] = there["time_scale"]
            try_bench(name, bench, folder)
        finally:
            simulator.close()


def try_bench(name, bench, folder):
    path = os.path.join(folder, name)
    with open(path, "w", encoding="utf-8") as f:
        json.dump(bench, f)
    told = run(["bench", "--bench", path, "--profile", EXAMPLE], folder)
    check(name + " loads and opens", told.returncode == 0, told.stdout[-300:])
    drives = "this bench does not drive coils" not in told.stdout
    check(name + " drives coils only with a matrix", drives == ("matrix" in name))
    if "matrix" in name:
        done = run(["inspect", "--bench", path, "--profile", EXAMPLE, "--celsius", "23"], folder)
        check(name + " accepts the good pack", done.returncode == 0 and
              "ACCEPT (level full)" in done.stdout, done.stdout[-300:])
    bench["fixture"]["shuntt"] = {}
    with open(path, "w", encoding="utf-8") as f:
        json.dump(bench, f)
    check(name + " with a wrong key is refused",
          run(["bench", "--bench", path, "--profile", EXAMPLE], folder).returncode == 3)


# --- commands -----------------------------------------------------------------

def commands(text):
    """Blocks of shell lines: words, what the comment says, in the background or not."""
    for language, body, start in fences(text):
        if language != "sh":
            continue
        block = []
        for line in body.splitlines():
            line = line.strip()
            if line:
                line, _, comment = line.partition("   # ")
                behind = line.endswith("&")
                words = [w.strip('"') for w in
                         re.findall(r'"[^"]*"|\S+', line.rstrip("& "))]
                block.append((words, comment, behind))
        yield block, start


def options_exist(words, helps):
    command = words[1]
    if command not in helps:
        helps[command] = run([command, "--help"], SOURCES).stdout
    wrong = [w for w in words if w.startswith("--") and w not in re.findall(r"--[\w-]+",
                                                                            helps[command])]
    check("options of: " + " ".join(words[:6]), helps[command] and not wrong, wrong)


def run_block(block, folder, helps):
    """What its commands print. Those marked as yours are not run."""
    said, background = "", []
    try:
        for words, comment, behind in block:
            check("begins with pinproof: " + words[0], words[0] == "pinproof")
            options_exist(words, helps)
            if re.search(r"on your bench|with your ", comment):
                continue
            if behind:
                made = os.path.join(folder, words[words.index("--bench-file") + 1])
                if os.path.exists(made):
                    os.remove(made)
                background.append(subprocess.Popen([PROGRAM] + words[1:], cwd=folder,
                                                   stdout=subprocess.DEVNULL))
                for _ in range(400):
                    if os.path.exists(made):
                        break
                    time.sleep(0.02)
                continue
            if "--bench" in words and not background:
                continue  # a bench of one's own; what it prints is tried in walk()
            if "--find" in words:
                continue
            wanted = re.search(r"exits (\d)", comment)
            done = run(words[1:], folder)
            check("runs: " + " ".join(words[:8]),
                  done.returncode == (int(wanted.group(1)) if wanted else 0), done.stdout[-300:])
            said += done.stdout
    finally:
        for process in background:
            process.kill()
            process.wait()
    return said


def spaced(line):
    return " ".join(line.split())


def documents_run(folder):
    helps = {}
    for name in ("examples", "profiles", "tests"):
        os.symlink(os.path.join(SOURCES, name), os.path.join(folder, name))
    for document in (WRITING, BENCHES):
        text = src.text_of(document)
        said, ran = "", 0
        for block, _ in commands(text):
            said += run_block(block, folder, helps)
            ran += 1
        check("commands were found in " + document, ran >= 3, ran)
        seen = {spaced(line) for line in said.splitlines()}
        for language, body, start in fences(text):
            # What thirty packs taught would take half a minute to learn again.
            if language or "stood in" in text[max(0, start - 200):start]:
                continue
            missing = [l for l in body.splitlines() if l.strip() and spaced(l) not in seen]
            check("the output shown is what is printed: " + body.strip().splitlines()[0],
                  not missing, missing)


def amounts(line):
    """The line without the values of its readings, and these with their uncertainties."""
    reading = re.compile(r"([\d.]+) ± ([\d.]+)")
    return spaced(reading.sub("READ", line)), [(float(v), float(u))
                                               for v, u in reading.findall(line)]


def was_said(line, said):
    """Within the uncertainty: how many samples a hand-held reading has is a matter of time."""
    words, wanted = amounts(line)
    return any(words == other and all(abs(a - b) <= u for (a, u), (b, _) in zip(wanted, seen))
               for other, seen in said)


# --- the first ten minutes ----------------------------------------------------

def walk(folder):
    text = src.text_of(README)
    check("README leads to a first verdict", "From nothing to a first verdict" in text)
    if "From nothing to a first verdict" not in text:
        return
    section = text[text.index("## From nothing to a first verdict"):]
    section = section[:section.index("\n## ", 10)] if "\n## " in section[10:] else section
    helps, lines = {}, []
    for block, _ in commands(section):
        for words, _, _ in block:
            options_exist(words, helps)
            lines.append(words)
    check("it finds, checks and inspects", [("--find" in w, "--check" in w, w[1]) for w in lines]
          == [(True, False, "bench"), (False, True, "bench"), (False, False, "inspect")], lines)
    bench = simulated(folder, "hand")
    said = ""
    try:
        with open(bench.bench_file, encoding="utf-8") as f:
            there = json.load(f)
        address = there["instruments"][0]["address"]
        found = run(lines[0][1:] + ["--address", address], folder)
        check("step 1 writes a bench file", found.returncode == 0, found.stdout)
        said += found.stdout.replace(address, "ADDRESS")
        path = os.path.join(folder, "bench.json")
        with open(path, encoding="utf-8") as f:
            mine = json.load(f)
        roles = [(i["role"], i["driver"]) for i in mine["instruments"]]
        check("with the hand in it", roles == [("meter", "scpi"), ("probes", "hand"),
                                               ("actuator", "hand")], roles)
        # A simulated hand does not tremble, and simulated time costs nothing.
        mine["fixture"]["dwell_s"], mine["time_scale"] = 0.02, there["time_scale"]
        with open(path, "w", encoding="utf-8") as f:
            json.dump(mine, f)
        bench.columns["reference+"], bench.columns["reference-"] = (bench.reference,
                                                                    bench.reference + 1)
        here = os.getcwd()
        os.chdir(folder)
        try:
            for words in lines[1:]:
                who = t.Technician(bench, [PROGRAM] + words[1:])
                code = who.work(200)
                check("exits 0: " + " ".join(words[:4]), code == 0, who.transcript[-300:])
                said += who.transcript
                prompts = who.prompts
        finally:
            os.chdir(here)
    finally:
        bench.close()
    check("as many pairs as it says", "it is %d pairs" % prompts in section, prompts)
    said = re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", said).replace("\r", "\n")
    seen = [amounts(line) for line in said.splitlines()]
    for language, body, _ in fences(section):
        if language:
            continue
        body = re.sub(r"tcp://127\.0\.0\.1:\d+", "ADDRESS", body)
        # Live readings differ with every noise; words do not.
        missing = [l for l in body.splitlines() if l.strip() and not was_said(l, seen) and
                   not re.match(r"\s+\d+\.\d mΩ", l)]
        check("the output shown is what is printed: " + body.strip().splitlines()[0],
              not missing, missing)


def main():
    with tempfile.TemporaryDirectory() as folder:
        worked_example(folder)
        reference_tables()
        findings()
        links()
        bench_files(folder)
        documents_run(folder)
        walk(folder)
    print("%d failed" % len(failures))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
