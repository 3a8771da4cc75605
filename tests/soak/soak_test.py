"""Days at the bench in less time: `pinproof screen` inspects simulated packs one after the other,
over HTTP, while their links and benches fail; its memory, threads and open files must stay what
they were, no good pack may be rejected and no faulty one accepted.
Usage: soak_test.py PINPROOF SOURCES [--hours 24] [--short] [--ledger none] [--seed 1]"""
import argparse
import os
import random
import sys
import tempfile
import time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(sys.argv[2], "tests", "screen"))
import http_client  # noqa: E402
import screen_host  # noqa: E402
from http_client import check  # noqa: E402
from soak_bench import SoakBench, bench_seconds, profile_file  # noqa: E402
from unreliable_link import KINDS  # noqa: E402

SIX, FOUR = "six-speed-20-pin", "four-speed-13-pin"
PACKS = [("good-six", SIX, 7, ""), ("good-four", FOUR, 11, ""),
         ("shorted", SIX, 7, "coil B: shorted-turns 10%"), ("no-ground", SIX, 8,
                                                            "wire ground wire: open"),
         ("stuck", FOUR, 9, "coil S2: shorted-turns 12%")]
ROLES = ["meter", "matrix", "digitiser", "supply", "actuator"]
BATCH = 24
HARMED = 3  # of a batch
SHORT_BATCHES = 4
# Least-squares growth over the second half of the samples: of the program's memory at rest.
ALLOWED_MB = {False: 4.0, True: 8.0}


class SoakScreen(screen_host.Screen):
    def __init__(self, folder, benches, ledger):
        files = [word for b in benches for f in b.files() for word in ("--bench", f)]
        super().__init__(folder, files[1], ledger, before=[sys.executable, "-c", EXEC, "|".join(
            files[2:] + ["--profile", profile_file(SIX), "--profile", profile_file(FOUR),
                         "--dialects", os.path.join(sys.argv[2], "drivers", "dialects")])])

    def children(self):
        with open("/proc/%d/task/%d/children" % (self.process.pid, self.process.pid)) as f:
            return len(f.read().split())


# The screen's test host knows one bench and an installed profile: the rest is put in here.
EXEC = ("import os, sys; more, *words = sys.argv[1:]; k = words.index('--profile'); "
        "del words[k:k + 2]; os.execv(words[0], words + more.split('|'))")


class Count:
    def __init__(self):
        self.verdicts, self.harms = {}, {}
        self.simulated_s = self.runs = 0
        self.wrong = []

    def add(self, table, *key):
        table[key] = table.get(key, 0) + 1


def words_of(status, said):
    if status != 200 or said is None:
        return "refused %s" % status if status != 200 else "no end"
    return said.get("verdict", "failed")


def run(screen, bench, linked, level, count, serial):
    """-> "accept", "reject", "hold", "failed" (the bench could not be opened or was lost)."""
    name = bench.name + ("-linked" if linked else "")
    status, said, watcher = screen.run(serial, within_s=120, bench=name, level=level,
                                       profile=profile_file(bench.profile))
    del watcher
    word = words_of(status, said)
    count.runs += 1
    if word == ("reject" if bench.good else "accept"):
        count.wrong.append((serial, name, level, word, str(said)[:400]))
    return word, said


def harmed(screen, bench, level, count, serial, chance):
    kind, role = chance.choice(KINDS), chance.choice(ROLES[:3 if level == "static" else 5])
    link = bench.links[role]
    link.arm(kind, chance.randrange({"meter": 90, "matrix": 120, "digitiser": 20, "supply": 20,
                                     "actuator": 12}[role]))
    word, said = run(screen, bench, True, level, count, serial)
    count.add(count.harms, kind, word if link.fired.is_set() else "not reached")
    link.disarm()
    if word in ("no end",) or word.startswith("refused"):
        check("a run with a harmed link ends", False, (kind, role, word, said))
    if not bench.turns_off():
        check("the output is off after " + kind, False, role)
    bench.revive()
    return kind


def usable_again(screen, bench, level, count, serial, kind):
    """The next inspection is as if nothing had been: at the second try, since a good pack may be
    held once in a hundred."""
    wanted = "accept" if bench.good else "reject"
    said = []
    for k in range(2):
        word, message = run(screen, bench, True, level, count, serial + "-%d" % k)
        said.append((word, str(message)[:300]))
        if word == wanted:
            return
    check("after %s the bench is usable" % kind, False, (bench.name, said))


def batch(screen, benches, lasts, count, number, chance):
    harm_at = set(chance.sample(range(BATCH), HARMED))
    for k in range(BATCH):
        bench = benches[k % len(benches)]
        level = "static" if chance.random() < 0.25 else "full"
        serial = "S%d-%d" % (number, k)
        if k in harm_at:
            kind = harmed(screen, bench, level, count, serial, chance)
            usable_again(screen, bench, level, count, serial + "-again", kind)
        else:
            word, _ = run(screen, bench, chance.random() < 0.5, level, count, serial)
            count.add(count.verdicts, bench.name, word)
            if word in ("accept", "reject", "hold"):
                count.simulated_s += lasts[bench.profile, level]


def sample(screen, table, count, begin, baseline):
    """At rest. Threads and files of what has just ended may take a moment to go."""
    MB, threads, handles = screen.settled(baseline[1] if baseline else 0,
                                          baseline[2] if baseline else 0, 5)
    row = (time.monotonic() - begin, count.simulated_s / 3600, count.runs, MB, threads, handles,
           screen.children())
    table.append(row)
    print("%8.0f s %9.2f h %7d runs %8.1f MB %4d threads %4d files %2d children" % row, flush=True)
    return MB, threads, handles


def growth(table):
    """Of the line through the second half of the samples, from its first to its last."""
    half = table[len(table) // 2:]
    x, y = [row[1] for row in half], [row[3] for row in half]
    mx, my = sum(x) / len(x), sum(y) / len(y)
    spread = sum((a - mx) ** 2 for a in x)
    slope = sum((a - mx) * (b - my) for a, b in zip(x, y)) / spread if spread else 0
    return slope * (x[-1] - x[0]), slope


def soak(folder, options):
    chance = random.Random(options.seed)
    speed = 10 if options.short else 2
    lasts = {(p, level): bench_seconds(folder, p, level, speed)
             for p in (SIX, FOUR) for level in ("full", "static")}
    for (profile, level), seconds in sorted(lasts.items()):
        print("an inspection of %s, %s: %.0f s on the bench" % (profile, level, seconds))
    benches = [SoakBench(folder, *pack) for pack in PACKS]
    count, table, begin = Count(), [], time.monotonic()
    try:
        with SoakScreen(folder, benches, options.ledger) as screen:
            screen.drive()
            baseline, number = None, 0
            while not over(options, count, number, begin):
                batch(screen, benches, lasts, count, number, chance)
                now = sample(screen, table, count, begin, baseline)
                baseline = baseline or now
                number += 1
                if len(http_client.failures) > 5:
                    break
    finally:
        for bench in benches:
            bench.close()
    told(options, count, table)


def over(options, count, batches, begin):
    if options.short:
        return batches == SHORT_BATCHES
    return count.simulated_s >= 3600 * options.hours or \
        options.minutes and time.monotonic() - begin > 60 * options.minutes


def told(options, count, table):
    print("\nverdicts without harm:")
    for (name, word), n in sorted(count.verdicts.items()):
        print("  %-10s %-8s %5d" % (name, word, n))
    print("harms:")
    for (kind, word), n in sorted(count.harms.items()):
        print("  %-8s %-12s %4d" % (kind, word, n))
    check("no good pack rejected, no faulty one accepted", not count.wrong,
          count.wrong or "%d runs" % count.runs)
    good = {}
    for (name, word), n in count.verdicts.items():
        if name.startswith("good"):
            good[word] = good.get(word, 0) + n
    total = sum(good.values())
    check("good packs are accepted without harm", good.get("accept", 0) >= 0.98 * total - 1, good)
    check("threads at rest stay the same", len({row[4] for row in table}) == 1,
          sorted({row[4] for row in table}))
    check("open files at rest stay the same", len({row[5] for row in table}) == 1,
          sorted({row[5] for row in table}))
    check("no process is left behind", not any(row[6] for row in table))
    grown, slope = growth(table)
    check("memory at rest grows by less than %.0f MB over the second half" %
          ALLOWED_MB[options.short], grown < ALLOWED_MB[options.short] and len(table) >= 4,
          "%.2f MB, %.3f MB an hour, %d samples" % (grown, slope, len(table)))
    wall = table[-1][0]
    print("%.2f simulated hours in %.0f s: 24 h take %.0f minutes" %
          (count.simulated_s / 3600, wall, wall * 24 / max(count.simulated_s / 3600, 1e-9) / 60))


parser = argparse.ArgumentParser()
parser.add_argument("program")
parser.add_argument("sources")
parser.add_argument("--hours", type=float, default=24, help="simulated")
parser.add_argument("--short", action="store_true", help="half a minute or so")
parser.add_argument("--minutes", type=float, default=0, help="of wall clock, at most; 0: no limit")
parser.add_argument("--ledger", default="ledger.sqlite", help="or \"none\"")
parser.add_argument("--seed", type=int, default=1)
options = parser.parse_args()
if options.short:
    BATCH, HARMED = 8, 1
with tempfile.TemporaryDirectory() as place:
    soak(place, options)
print("%d failed" % len(http_client.failures))
sys.exit(1 if http_client.failures else 0)
