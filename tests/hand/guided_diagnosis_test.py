"""diagnose by a meter and two probes: the technician of the tests puts them where it asks, plugs
and unplugs the harness, warms the pack, and the fault must get the name that a relay matrix
gives it.
Usage: guided_diagnosis_test.py PINPROOF SOURCES"""
import multiprocessing
import os
import re
import sys
import tempfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import technician as t

PROGRAM, SOURCES = sys.argv[1], sys.argv[2]
PROFILE = os.path.join(SOURCES, "profiles", "six-speed-20-pin.json")
HARNESS = os.path.join(SOURCES, "examples", "harness-20-pin.json")
# The fault as the simulator knows it, what the answer must say, and what else is asked for.
CASES = [(None, 0, "No fault that these probes can see", ""),
         ("coil B: open", 1, "coil B is open", ""),
         ("coil B: shorted-turns", 1, "coil B has shorted turns", ""),
         ("pin 9: bridge 10", 1, "pin 9 and 10 are bridged", ""),
         ("wire ground wire: open", 1, "the ground wire is open", ""),
         ("switch PS1: stuck-open", 1, "switch PS1 does not close", ""),
         ("pack: mis-pinned 9-12", 1, "pins 9 to 12 are shifted", ""),
         # Three presses where one would do: the others do not answer what is asked next.
         ("pin 9: bridge 10", 1, "pin 9 and 10 are bridged", "nervous"),
         # Which side of the connector it is on.
         (None, 0, "No fault that these probes can see", "harness"),
         ("wire wire C4: open", 1, "harness: the wire C4 is open", "harness"),
         ("wire plugged contact 4: open", 1,
          "at the connector: plugged contact 4 does not touch", "harness"),
         ("wire plugged contact 2: resistance 5ohm", 1,
          "at the connector: plugged contact 2 has", "harness"),
         ("coil B: open", 1, "pack: coil B is open", "harness"),
         # By hand nobody can drive a coil: which of them leaks stays open.
         ("coil B: hot-insulation 20Mohm", 1, "leaks to the case when it is hot", "soak"),
         ("coil B: hot-insulation 20Mohm", 1, "the winding of coil B leaks to the case when it is "
          "hot", "soak matrix")]


def by_hand(case):
    fault, code, words, means = case
    with tempfile.TemporaryDirectory() as folder:
        bench = t.Bench(PROGRAM, PROFILE, 7, [fault] if fault else [], folder,
                        "matrix" if "matrix" in means else "hand",
                        HARNESS if means == "harness" else None)
        if means == "nervous":
            bench.set_dwell(0.4)
        more = ["--harness", HARNESS] if means == "harness" else \
            ["--soak"] if "soak" in means else []
        try:
            who = t.Technician(bench, [PROGRAM, "diagnose", "--profile", PROFILE, "--bench",
                                       bench.bench_file, *more])
            if means == "nervous":
                who.presses, who.reaction = 3, 0.3
            got = who.work(240)
        finally:
            bench.close()
    text = " ".join(re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", who.transcript).split())
    count = re.search(r"after (\d+) readings", text)
    good = got == code and words in text and "None of" not in text
    # Two connectors cannot be told apart without unplugging, nor heat without warming.
    if "soak" in means:
        good = good and who.warmed
    if means == "harness":
        good = good and "Unplug the harness" in text
    return ("%s %s" % (fault or "good pack", means), good, got, count.group(1) if count else "?",
            who.prompts, text[-1900:])


failed = 0
with multiprocessing.Pool(4) as pool:
    for fault, good, code, readings, prompts, tail in pool.imap(by_hand, CASES):
        print("%s %-48s exit %s, %s readings, %s prompts" %
              ("ok   " if good else "FAIL ", fault, code, readings, prompts),
              flush=True)
        if not good:
            failed += 1
            print("      " + tail)
sys.exit(1 if failed else 0)
