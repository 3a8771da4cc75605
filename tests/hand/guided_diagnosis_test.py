"""diagnose by a meter and two probes: the technician of the tests puts them where it asks, and
the fault must get the name that a relay matrix gives it.
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
# The fault as the simulator knows it, and what the answer must say.
CASES = [(None, 0, "No fault that these probes can see"),
         ("coil B: open", 1, "coil B is open"),
         ("coil B: shorted-turns", 1, "coil B has shorted turns"),
         ("pin 9: bridge 10", 1, "pin 9 and 10 are bridged"),
         ("wire ground wire: open", 1, "the ground wire is open"),
         ("switch PS1: stuck-open", 1, "switch PS1 does not close"),
         ("pack: mis-pinned 9-12", 1, "pins 9 to 12 are shifted")]


def by_hand(case):
    fault, code, words = case
    with tempfile.TemporaryDirectory() as folder:
        bench = t.Bench(PROGRAM, PROFILE, 7, [fault] if fault else [], folder)
        try:
            who = t.Technician(bench, [PROGRAM, "diagnose", "--profile", PROFILE, "--bench",
                                       bench.bench_file])
            got = who.work(240)
        finally:
            bench.close()
    text = " ".join(re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", who.transcript).split())
    count = re.search(r"after (\d+) readings", text)
    good = got == code and words in text and "None of" not in text
    return fault, good, got, count.group(1) if count else "?", who.prompts, text[-1900:]


failed = 0
with multiprocessing.Pool(4) as pool:
    for fault, good, code, readings, prompts, tail in pool.imap(by_hand, CASES):
        print("%s %-28s exit %s, %s readings, %s prompts" %
              ("ok   " if good else "FAIL ", fault or "good pack", code, readings, prompts),
              flush=True)
        if not good:
            failed += 1
            print("      " + tail)
sys.exit(1 if failed else 0)
