"""A guided inspection of the 20-pin pack over a pseudo-terminal, with a meter
alone: for a good pack and for each fault that shows without driving a coil, the
verdict must be the same as by the relay matrix. Then step back, retest, skip with
a reason, Ctrl-C, and the dialogue replayed.
Usage: guided_test.py PINPROOF SOURCES"""
import functools
import json
import os
import subprocess
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import technician as t

os.environ.setdefault("PINPROOF_LEDGER", "none")  # leaves nothing in anybody's home

PROGRAM, SOURCES = sys.argv[1], sys.argv[2]
PROFILE = os.path.join(SOURCES, "profiles", "six-speed-20-pin.json")
SEED = 7
# Every class of the simulator that shows at rest, with the lever or with air, at
# its stated size. Faults of the plunger, of suppression and of joints under load
# need driven coils; a leaking or drifting bench is not the pack's.
FAULTS = ["coil B: open", "coil B: shorted", "coil B: shorted-turns", "coil B: joint",
          "coil B: film", "coil B: case-leak", "coil B: cross-leak", "coil B: hot-insulation",
          "wire ground wire: open", "wire feed wire: open", "wire feed wire: resistance",
          "switch PS1: stuck-closed", "switch PS1: stuck-open", "switch PS4: series-drift",
          "switch PS4: series-short", "switch PS1: contact-resistance", "switch PS1: trip-high",
          "thermistor fluid thermistor: open", "thermistor fluid thermistor: shorted",
          "thermistor fluid thermistor: drift", "pin 13: open", "pin 9: bridge 10",
          "pin 9: leak 10", "pin 2: swap 9", "pin 3: debris", "pack: mis-pinned 9-12",
          "pack: water"]
check = t.check


def both_ways(fault, folder):
    faults = [fault] if fault else []
    matrix = t.by_matrix(PROGRAM, PROFILE, SEED, faults, folder)
    hand, who = t.by_hand(PROGRAM, PROFILE, SEED, faults, folder)
    check("%-38s matrix %-7s hand %-7s %3d probings" % (fault or "good pack", matrix[1], hand[1],
                                                        who.prompts),
          matrix[:2] == hand[:2] and (fault is None) == (hand[1] == "accept"),
          "" if matrix[:2] == hand[:2] else str(matrix) + " " + str(hand))


def step_back(folder):
    """The first coil pair is read twice; the record keeps both readings."""
    state = {"back": 0}

    def before(who, line):
        if line.startswith("BLACK") and "pin 4" in line and state["back"] == 0:
            state["back"] = 1
            who.press("b")
            return True
        return False

    result, who = t.by_hand(PROGRAM, PROFILE, SEED, [], folder, before)
    with open(os.path.join(folder, "hand.json")) as f:
        events = json.load(f)["events"]
    read = [e for e in events if e["event"] == "read"]
    keys = [json.dumps(e["key"]) for e in read]
    # For every check that asks for it.
    pairs = {(*e["from"], *e["to"]) for e, key in zip(read, keys) if keys.count(key) > 1}
    check("step back: the pair before is read again", len(pairs) == 1 and len(keys) > len(set(keys))
          and result[1] == "accept", str(pairs))


def skip(folder):
    """Skips all air tests with one reason: that pack cannot be accepted."""
    def before(who, line):
        if line.startswith("Apply "):
            who.press("S")
            return True
        if line.startswith("Why is it skipped?"):
            who.press("no air in this bay\r")
            return True
        return False

    result, who = t.by_hand(PROGRAM, PROFILE, SEED, [], folder, before)
    with open(os.path.join(folder, "hand.json")) as f:
        reasons = {e["reason"] for e in json.load(f)["events"] if e["event"] == "skipped"}
    check("skip with reason: hold, and the record has the reason",
          result[:2] == (2, "hold") and any("no air in this bay" in r for r in reasons),
          str(result[:2]))


def stop(folder):
    """Ctrl-C: exit code 5, and the terminal echoes again."""
    import termios

    def before(who, line):
        if line.startswith("BLACK") and "pin 5" in line:
            who.press("\x03")
            return True
        return False

    bench = t.Bench(PROGRAM, PROFILE, SEED, [], folder)
    try:
        who = t.Technician(bench, [PROGRAM, "inspect", "--profile", PROFILE, "--bench",
                                   bench.bench_file], before)
        who.after = lambda: termios.tcgetattr(who.terminal)[3] & termios.ECHO
        code = who.work(60)
    finally:
        bench.close()
    check("Ctrl-C stops it with exit code 5", code == 5, str(code))


def replay(folder):
    """The dialogue of a guided run gives the same readings without bench or hand."""
    dialogue = os.path.join(folder, "dialogue.jsonl")
    bench = t.Bench(PROGRAM, PROFILE, SEED, ["coil B: joint"], folder)
    first = os.path.join(folder, "first.json")
    again = os.path.join(folder, "again.json")
    try:
        who = t.Technician(bench, [PROGRAM, "inspect", "--profile", PROFILE, "--bench",
                                   bench.bench_file, "--record", first, "--record-dialogue",
                                   dialogue])
        code = who.work(120)
    finally:
        bench.close()
    replayed = subprocess.run([PROGRAM, "inspect", "--profile", PROFILE, "--bench",
                               bench.bench_file, "--record", again, "--replay-dialogue", dialogue],
                              stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)

    def readings(path):
        with open(path) as f:
            events = json.load(f)["events"]
        for event in events:
            event.pop("at_s", None)
        return events

    check("a guided run is replayed without bench and hand", code == 1 and
          replayed.returncode == 1 and readings(first) == readings(again),
          "%d %d" % (code, replayed.returncode))


# The technician mostly waits for the meter to settle: several at once.
t.side_by_side([step_back, skip, replay] + [functools.partial(both_ways, fault)
                                            for fault in [None] + FAULTS] + [stop], 6)
