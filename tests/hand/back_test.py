"""What a person takes back by going back counts for nothing: not for another check that asks for
the same pair, not in another position of the lever than is believed, not after the computer went
down. Each pack here is bad, and was accepted before.
Usage: back_test.py PINPROOF SOURCES"""
import json
import os
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import technician as t

PROGRAM, SOURCES = sys.argv[1], sys.argv[2]
SIX = os.path.join(SOURCES, "profiles", "six-speed-20-pin.json")
NINE = os.path.join(SOURCES, "examples", "chart-nine-pin.json")
check = t.check


class Watch:
    """Which pairs are asked for, in their order; `act` may do something else than is asked."""

    def __init__(self, act):
        self.red, self.asked, self.act = "", [], act

    def __call__(self, who, line):
        if line.startswith("Touch  RED"):
            self.red = line[14:].strip()
        pair = None
        if line.startswith("BLACK"):
            pair = frozenset((t.node(self.red), t.node(line[7:].strip())))
            self.asked.append(pair)
        return self.act(who, line, pair)


def touch(who, *pair):
    """Puts the probes on another pair than was asked for; None: beside everything."""
    who.prompts += 1
    who.bench.lift()
    time.sleep(0.01)
    who.pair = None
    if pair:
        who.pair = tuple(who.bench.columns[pin] for pin in pair)
        who.bench.touch(*who.pair)
    who.touched_at = who.waiting_since = time.time()


def lever_moved_already(folder):
    """The start permit is closed in 2 as well; in 1, where it is open, the person goes back."""
    with open(SIX) as f:
        pack = json.load(f)
    for position in pack["lever"]["positions"]:
        if position["name"] == "2":
            position["start_permitted"] = True
    bad = os.path.join(folder, "bad.json")
    with open(bad, "w") as f:
        json.dump(pack, f)
    steps = []

    def act(who, line, _):
        if line.startswith("Move the lever to "):
            steps.append(line[18:].rstrip("."))
            if steps.count("1") == 1 and steps[-1] == "1":
                who.bench.actuator.tell("POS %d" % who.bench.positions.index("1"))
                time.sleep(0.1)
                who.press("b")
                return True
        return False

    bench = t.Bench(PROGRAM, bad, 7, [], folder)
    record = os.path.join(folder, "lever.json")
    try:
        who = t.Technician(bench, [PROGRAM, "inspect", "--profile", SIX, "--bench",
                                   bench.bench_file, "--record", record], Watch(act))
        code = who.work(300)
    finally:
        bench.close()
    after = steps[steps.index("1") + 1:] if "1" in steps else []
    check("back from a request for the lever asks for the position before again",
          after[:2] == ["2", "1"], str(steps))
    check("and the start permit that is closed there rejects", code == 1, "exit code %d" % code)


def one_pair_for_several(folder):
    """Pin 4 leaks 2 MOhm to the case. First the probes are on nothing, then, after going back,
    properly on: insulation and both switches at rest had the first reading."""
    wanted = frozenset(("4", "case"))
    state = {"times": 0}

    def act(who, line, pair):
        if pair == wanted:
            state["times"] += 1
            if state["times"] == 1:
                touch(who)
                return True
        elif pair and state["times"] == 1:
            state["times"] = 2
            who.press("b")
            return True
        return False

    result, _ = t.by_hand(PROGRAM, NINE, 7, ["pin 4: debris 2 Mohm"], folder, Watch(act))
    check("a pair that is read again is read for all its checks", state["times"] > 2 and
          result[:2] == (1, "reject"), str(result) + " asked %d times" % state["times"])


def cut_off_after_back(folder):
    """Coil C has a bad joint. Coil A is touched in its stead, taken back, and the program is
    killed before it is read again."""
    wanted = frozenset(("1", "4"))
    state = {"step": 0}

    def act(who, line, pair):
        if pair == wanted and state["step"] == 0:
            state["step"] = 1
            touch(who, "1", "2")
            return True
        if pair and pair != wanted and state["step"] == 1:
            state["step"] = 2
            who.press("b")
            return True
        if pair == wanted and state["step"] == 2:
            state["step"] = 3
            os.kill(who.pid, 9)
            return True
        return False

    bench = t.Bench(PROGRAM, SIX, 7, ["coil C: joint"], folder)
    arguments = [PROGRAM, "inspect", "--profile", SIX, "--bench", bench.bench_file, "--serial",
                 "C1", "--ledger", os.path.join(folder, "ledger.sqlite")]
    try:
        t.Technician(bench, arguments, Watch(act)).work(100)
        again = Watch(lambda who, line, pair: False)
        code = t.Technician(bench, arguments + ["--resume"], again).work(300)
    finally:
        bench.close()
    check("what was taken back before the program was killed is asked for again",
          state["step"] == 3 and wanted in again.asked and code == 1, "exit code %d" % code)


t.side_by_side([cut_off_after_back, lever_moved_already, one_pair_for_several], 3)
