"""Relays measure, a person moves the lever and applies the air when asked to: inspect and diagnose
over a pseudo-terminal on simulated benches whose bench file says "hand" for the actuator. The same
verdicts as with an actuator of its own; skipped work holds the pack; the dialogue can be replayed.
Usage: helper_test.py PINPROOF SOURCES"""
import functools
import json
import os
import subprocess
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import technician as t

PROGRAM, SOURCES = sys.argv[1], sys.argv[2]
SIX, FOUR = (os.path.join(SOURCES, "profiles", name + ".json")
             for name in ("six-speed-20-pin", "four-speed-13-pin"))
check = t.check


def by_hand_at_the_lever(bench_file):
    with open(bench_file) as f:
        bench = json.load(f)
    for one in bench["instruments"]:
        if one["role"] == "actuator":
            one.clear()
            one.update(role="actuator", driver="hand")
    with open(bench_file, "w") as f:
        json.dump(bench, f)


def work(folder, profile, faults, words, before=None):
    """Exit code, what the terminal showed, what else was asked."""
    bench = t.Bench(PROGRAM, profile, 7, faults, folder, "matrix")
    try:
        by_hand_at_the_lever(bench.bench_file)
        technician = t.Technician(bench, [PROGRAM, words[0], "--profile", profile, "--bench",
                                          bench.bench_file, *words[1:]], before)
        code = technician.work(120)
    finally:
        bench.close()
    return code, technician.transcript


VERDICTS = [
    (SIX, [], ["--static"], 0, "accept", None),
    (FOUR, [], [], 0, "accept", None),
    (SIX, ["contact L2: stuck-open"], ["--static"], 1, "reject", "contact-stuck-open"),
    (FOUR, ["switch PSB: stuck-open"], ["--static"], 1, "reject", "switch-stuck-open")]


def verdict(case, folder):
    profile, faults, words, code, wanted, kind = case
    record = os.path.join(folder, "record.json")
    came, said = work(folder, profile, faults, ["inspect", *words, "--record", record])
    name = " ".join([os.path.basename(profile)[:10], *words, *faults])
    judged, findings = t.verdict_of(PROGRAM, profile, record)
    check(name, (came, judged) == (code, wanted) and (kind is None or kind in findings),
          (came, judged, findings))
    check(name + ": asked for the lever and, with a caution, for the air",
          said.count("Move the lever to ") >= 5 and "CAUTION: compressed air" in said,
          said.count("Move the lever to "))
    check(name + ": the probes are the relays' business", "Touch" not in said)


def refusing(request, why):
    """A technician who skips all work of one kind -> what sees to that, what was asked."""
    asked = []

    def before(who, line):
        if line.startswith(request):
            asked.append(line)
            who.press("S")
            return True
        if line.endswith("skipped?"):
            who.press(why + "\r")
            return True
        return False

    return before, asked


def skipped(folder):
    """Whoever has no air says so once, and the pack is held."""
    record = os.path.join(folder, "record.json")
    before, asked = refusing("Apply ", "the compressor is away")
    code, said = work(folder, FOUR, [], ["inspect", "--static", "--record", record], before)
    with open(record) as f:
        reasons = {e["reason"] for e in json.load(f)["events"] if e["event"] == "skipped"}
    check("no air: asked once, held", (code, len(asked)) == (2, 1), (code, len(asked)))
    check("no air: the record says why", "skipped by hand: the compressor is away" in reasons, reasons)


def stays_near(folder):
    """Whoever does not stand clear gets no coil driven, and no accept."""
    record = os.path.join(folder, "record.json")
    before, asked = refusing("Take your hands off", "nobody else can hold it")
    code, _ = work(folder, FOUR, [], ["inspect", "--record", record], before)
    with open(record) as f:
        events = json.load(f)["events"]
    check("hands on the pack: held, and asked once", (code, len(asked)) == (2, 1), (code, len(asked)))
    check("hands on the pack: nothing was driven",
          not any(e["event"] == "capture" for e in events) and
          any(e["event"] == "skipped" and e["key"]["check"] == "coil-drive" for e in events))
    before, asked = refusing("Take your hands off", "nobody else can hold it")
    code, said = work(folder, FOUR, [], ["lever", "--gears"], before)
    check("hands on the pack: the gears are held", code == 2 and asked and
          "nobody else can hold it" in said and "Gear table: accept" not in said,
          (code, len(asked), said[-400:]))


def keeps_the_air_on(folder):
    """Air that stays on ends the test, and is asked off once more on the way out."""
    before, asked = refusing("Shut the air off", "the valve sticks")
    code, said = work(folder, FOUR, [], ["lever", "--gears"], before)
    first = said.find("the valve sticks")
    check("air that is not shut off: stopped, with the reason, and no verdict",
          code == 5 and "not brought back to rest" in said and "the valve sticks" in said and
          "Gear table" not in said, (code, len(asked), said[-400:]))
    check("air that is not shut off: told again on the way out",
          0 < first < said.rfind("Shut the air off"), said[-400:])


def replayed(words, folder):
    dialogue, record = os.path.join(folder, "dialogue"), os.path.join(folder, "record.json")
    code, said = work(folder, FOUR, ["contact R2: stuck-open"],
                      ["inspect", *words, "--record-dialogue", dialogue])
    bench_file = os.path.join(folder, "bench-matrix.json")
    again = subprocess.run([PROGRAM, "inspect", "--profile", FOUR, "--bench", bench_file, *words,
                            "--replay-dialogue", dialogue, "--record", record],
                           stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60)
    check(" ".join(["replayed without anybody", *words]), (code, again.returncode) == (1, 1),
          again.stderr[-300:])
    if not words:
        stood_clear(dialogue, said)


def stood_clear(dialogue, said):
    """Between a hand's work and the next pulse there is always a request to stand clear."""
    near, driven, unwarned = False, 0, 0
    with open(dialogue) as f:
        for line in f:
            if '"port actuator"' in line:
                near = True
            elif '"port person"' in line and "Take your hands off" in line:
                near = False
            elif '"supply ' in line and "INIT;" in line:  # the supply times the pulse
                driven += 1
                unwarned += near
    check("every pulse comes after the hands are off", driven >= 5 and not unwarned,
          (driven, unwarned))
    asked = said.count("Take your hands off")
    check("and it is not asked for each", 1 <= asked <= 3, asked)


def without_a_terminal(folder):
    bench = t.Bench(PROGRAM, FOUR, 7, [], folder, "matrix")
    try:
        by_hand_at_the_lever(bench.bench_file)

        def run(*words):
            return subprocess.run([PROGRAM, *words, "--bench", bench.bench_file],
                                  stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60)
        inspected = run("inspect", "--profile", FOUR, "--static")
        check("without a terminal it says so", inspected.returncode == 3 and
              "standard input is not" in inspected.stderr, inspected.stderr)
        check("a bench check asks nobody", run("bench", "--check").returncode == 0)
        seen = run("bench", "--profile", FOUR)
        check("what such a bench cannot see", seen.returncode == 0 and
              "the lever cannot be moved" not in seen.stdout)
        covered = run("coverage", "--profile", FOUR)
        check("coverage counts the person", covered.returncode == 0 and "contact" in covered.stdout,
              covered.stderr)
    finally:
        bench.close()


def diagnosed(folder):
    code, said = work(folder, SIX, ["contact L2: stuck-open"], ["diagnose"])
    check("diagnose asks for the lever as well", "Move the lever to " in said and "L2" in said,
          said[-300:] if code else "")


t.side_by_side([functools.partial(verdict, case) for case in VERDICTS] +
               [functools.partial(replayed, words) for words in (["--static"], [])] +
               [skipped, stays_near, keeps_the_air_on, without_a_terminal, diagnosed], 4)
