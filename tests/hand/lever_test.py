"""pinproof lever on simulated benches: by relays, by a meter and two probes, through a harness, and
with relays while a person moves the lever. What is wrong is known to the simulator only; the hazard
report must stand where one belongs.
Usage: lever_test.py PINPROOF SOURCES"""
import json
import multiprocessing
import os
import re
import subprocess
import sys
import tempfile
import threading
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import technician as t

os.environ.setdefault("PINPROOF_LEDGER", "none")  # leaves nothing in anybody's home

PROGRAM, SOURCES = sys.argv[1], sys.argv[2]
SIX, FOUR = "six-speed-20-pin", "four-speed-13-pin"
HARNESS = os.path.join(SOURCES, "examples", "harness-20-pin.json")
DANGER = "DO NOT START THE ENGINE"


def profile(name):
    return os.path.join(SOURCES, "profiles", name + ".json")


# Profile, fault, how, exit code, words that must be there, hazard or not.
CASES = []
for how in ("matrix", "hand"):
    CASES += [
        (SIX, None, how, 0, "Every contact reads right", False),
        (FOUR, None, how, 0, "Every contact reads right", False),
        (SIX, "contact L2: stuck-open", how, 1, "L2 (pin 14) never closes", False),
        (SIX, "pin 13: swap 17", how, 1, "L1 (pin 13) and L5 (pin 17) have changed places", True),
        (SIX, "pin 15: bridge 16", how, 1, "L3 (pin 15) and L4 (pin 16) touch", False),
        (FOUR, "pin H: swap J", how, 1, "R2 (pin H) and R3 (pin J) have changed places", True),
        (FOUR, "contact start permit: stuck-closed", how, 1, "start permit (pin L) never opens",
         True),
        (FOUR, "wire ground wire: open", how, 1, "the common (ground) of", False)]
CASES += [
    (SIX, None, "harness", 0, "Every contact reads right", False),
    (SIX, "wire wire C14: open", "harness", 1, "L2 (pin 14) never closes", False),
    (SIX, None, "person", 0, "Every contact reads right", False),
    (SIX, "contact L2: stuck-open", "person", 1, "L2 (pin 14) never closes", False),
    (SIX, None, "free", 0, "Every contact reads right", False),
    (SIX, None, "hurried", 2, "did not stop both ways in R, D", None),
    (SIX, "pin 13: swap 17", "free", 1, "L1 (pin 13) and L5 (pin 17) have changed places", True),
    (SIX, None, "gears", 0, "Gear table: accept", False),
    # A contact that opens now and then, on a bench that moves the lever and with a person who does.
    (SIX, "contact L3: intermittent", "matrix", 1, "L3", None),
    (SIX, "contact L3: intermittent", "person", 1, "L3", None),
    (FOUR, "contact start permit: intermittent", "matrix", 1, "start permit", None),
    (SIX, "switch PS1: air-leak E3", "gears", 1, "a cross leak", False),
    (SIX, "switch PS2: chatters", "gears", 1, "chatters", False),
    (SIX, "switch PS4: trip-high 10%", "gears", 1, "PS4 trips at", False),
    # A supply that does not hold its voltage has loaded no coil.
    (SIX, "bench: supply-sag 20 %", "gears", 2, "the supply gave", False),
    (FOUR, "switch PSB: stuck-closed", "gears", 1, "PSB is closed without any pressure", False)]


SPEED = 10  # simulated seconds in one


def without_actuator(bench_file):
    with open(bench_file) as f:
        bench = json.load(f)
    bench["instruments"] = [i for i in bench["instruments"] if i["role"] != "actuator"]
    with open(bench_file, "w") as f:
        json.dump(bench, f)


def mover(bench, process, lines, stops):
    """Moves the lever where standard error says, or freely with these stops."""
    for line in process.stderr:
        lines.append(line)
        position = re.search(r"Move the lever to (\S+),", line)
        if position:
            time.sleep(0.05)
            bench.actuator.tell("POS %d" % bench.positions.index(position.group(1)))
        if line.startswith("Start in "):
            stop_s = float(re.search(r"stop for (\d+) s", line).group(1)) / SPEED
            for at in stops:
                bench.actuator.tell("POS %d" % at)
                time.sleep(max(0.25, 2 * stop_s))  # the machine has other work as well


def moved_by_person(name, faults, folder, how):
    bench = t.Bench(PROGRAM, profile(name), 7, faults, folder, "matrix", speed=SPEED)
    try:
        without_actuator(bench.bench_file)
        bench.actuator.tell("POS 0")
        command = [PROGRAM, "lever", "--profile", profile(name), "--bench", bench.bench_file]
        there = list(range(len(bench.positions)))
        stops = there + there[-2::-1]
        if how == "hurried":  # never in R, and past D on the way back
            stops = [at for at in stops[:7] if at != 1] + [5, 4, 2, 0]
        command += [] if how == "person" else ["--free", "--rest", "20"]
        process = subprocess.Popen(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        lines = []
        thread = threading.Thread(target=mover, args=(bench, process, lines, stops))
        thread.start()
        out = process.stdout.read()
        code = process.wait(120)
        thread.join()
        return code, out + "".join(lines)
    finally:
        bench.close()


def run(case):
    name, fault, how, code, words, hazard = case
    faults = [fault] if fault else []
    with tempfile.TemporaryDirectory() as folder:
        if how in ("person", "free", "hurried"):
            got, text = moved_by_person(name, faults, folder, how)
        else:
            harness = HARNESS if how == "harness" else None
            connect = "matrix" if how in ("matrix", "gears") else "hand"
            bench = t.Bench(PROGRAM, profile(name), 7, faults, folder, connect, harness,
                            speed=20 if how == "gears" else 0)
            command = [PROGRAM, "lever", "--profile", profile(name), "--bench", bench.bench_file]
            command += ["--harness", harness] if harness else []
            command += ["--gears"] if how == "gears" else []
            try:
                if connect == "matrix":
                    done = subprocess.run(command, stdout=subprocess.PIPE, text=True)
                    got, text = done.returncode, done.stdout
                else:
                    who = t.Technician(bench, command)
                    got, text = who.work(240), who.transcript
                    # Each pin once, and the bench's own checks, two resistors before and after: as few
                    # connections as can be.
                    pins = len({"C" + l if harness else l for l in bench.profile["lever"]["lines"]})
                    if who.prompts > pins + 2 + 8:
                        text += " (%d connections)" % who.prompts
                        got = -1
            finally:
                bench.close()
    if got != 0 and "Verdict: ACCEPT" in text:
        got = "%s beside an accept" % got
    text = " ".join(re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text).split())
    good = got == code and words in text and hazard in (DANGER in text, None)
    return "%s, %s, %s" % (name, fault or "good pack", how), good, got, text[-1500:]


failed = 0
with multiprocessing.Pool(3) as pool:
    for what, good, code, tail in pool.imap(run, CASES):
        print("%s %-62s exit %s" % ("ok   " if good else "FAIL ", what, code), flush=True)
        if not good:
            failed += 1
            print("      " + tail)
sys.exit(1 if failed else 0)
