"""Nothing that was told is lost: inspections, their resumptions and imports ended by kill -9
at random instants, and by a disk that fills. What counts as told: an event that another
process saw in the ledger, and one that was shown on the terminal. After each kill all of
that is there, whole and chained; what was cut off is gone on with and completes.
A kill leaves the computer running: that a commit waits for the disk is not shown here.
Usage: durability_test.py PINPROOF SOURCES [--kills N]"""
import argparse
import collections
import contextlib
import itertools
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True  # the sources stay as they are
import workbench
from disks import SmallFiles, disks
from full_disk import import_until_full, inspect_until_full
from onlookers import Onlooker, Terminal
from workbench import demand

IMPORTED = 1500
ONE_TRANSACTION = 200  # records, at the most
GROWN = 4  # inspections in one ledger before a new one is begun
SIZES = [40_000, 200_000, 600_000, 1_500_000, 3_000_000]  # of the disk that fills

parser = argparse.ArgumentParser()
parser.add_argument("program")
parser.add_argument("sources")
parser.add_argument("--kills", type=int, default=60)
ARGS = parser.parse_args()

Kill = collections.namedtuple("Kill", "what stage events seen told")


# --- kills of inspections ---

class Inspections:
    def __init__(self, program, rng, name):
        self.program, self.rng, self.name = program, rng, name
        self.bench = workbench.Bench(program, name)
        self.ledgers = self.packs = 0
        self.new_ledger()
        self.lasts_s = {way: self.duration(way) for way in ("full", "static")}

    def new_ledger(self):
        self.ledgers += 1
        self.path = os.path.join(self.program.folder, "%s-%d.sqlite" % (self.name, self.ledgers))

    def command(self, serial, way, *more):
        static = ["--static"] if way == "static" else []
        return self.program.inspection(self.bench, serial, self.path, *static, *more)

    def duration(self, way):
        begun = time.monotonic()
        code, out, err = self.program.run(*self.command("D", way))
        demand(code == 0, "a good pack is not accepted: %s%s" % (out, err))
        return time.monotonic() - begun

    def kill_one(self, serial, way, *more):
        """None where it was over sooner."""
        terminal, onlooker = Terminal(), Onlooker(self.path, serial)
        process = self.program.start(*self.command(serial, way, *more), stderr=terminal.theirs)
        # Anywhere, but less often in the start of the program.
        at = time.monotonic() + self.rng.betavariate(2, 1.3) * 1.1 * self.lasts_s[way]
        while time.monotonic() < at and process.poll() is None:
            onlooker.look()
            terminal.read()
            time.sleep(0.001)
        process.kill()
        process.wait()
        onlooker.close()
        told = terminal.told()
        terminal.close()
        hit = process.returncode == -signal.SIGKILL
        demand(hit or process.returncode == 0,
               "%s: ended by itself with %d: %s" % (serial, process.returncode, terminal.text))
        return (onlooker.seen, told) if hit else None

    def demand_kept(self, serial, seen, told, before, when):
        """The events that are there, and whether the attempt is closed; None: not begun."""
        if not os.path.exists(self.path):
            demand(not seen and not told, when + ": what was told is gone with the whole ledger")
            return None
        self.program.verify(self.path, when)  # before anybody else opens it: it must recover
        workbench.demand_sound(self.path, when)
        rows = workbench.attempts(self.path, serial)
        if not rows:
            demand(not seen and not told, when + ": what was told is gone")
            return None
        demand(len(rows) == 1, when + ": two attempts of one inspection")
        number, header, ended, _ = rows[0]
        events = workbench.chained_events(self.path, number, header, when)
        for at, kept in seen.items():
            demand(at < len(events) and events[at][1] == kept,
                   "%s: event %d was committed and is lost or another" % (when, at))
        noted = 1 if before is not None and told else 0  # that it was resumed
        demand(len(events) >= (before or 0) + noted + told,
               "%s: %d events, but %d were there and %d more were told" %
               (when, len(events), before or 0, told))
        return [event for event, _ in events], ended

    def stage(self, kept, before):
        if kept is None:
            return "not begun"
        events, ended = kept
        if ended:
            return "closed"
        if any(e["event"] == "finished" for e in events):
            return "finished"
        if before is not None and len(events) == before:
            return "not taken up"
        return "measuring" if events else "begun"

    def trial(self, most):
        """Up to `most` kills of one inspection, then the way to its end."""
        if self.packs % GROWN == 0 and self.packs:
            self.new_ledger()
        self.packs += 1
        serial = "%s-%d" % (self.name, self.packs)
        way = self.rng.choice(["full", "static", "static"])
        out, kept, more = [], None, []
        for _ in range(min(most, self.rng.randint(1, 4))):
            before = len(kept[0]) if kept else None
            hit = self.kill_one(serial, way, *more)
            if hit is None:
                break
            seen, told = hit
            when = "%s, kill %d" % (serial, len(out) + 1)
            kept = self.demand_kept(serial, seen, told, before, when)
            out.append(Kill("resumption" if more else "inspection", self.stage(kept, before),
                            len(kept[0]) if kept else 0, len(seen), told))
            more = ["--resume"] if kept else []
            if kept and kept[1]:
                break
        self.complete(serial, way, more)
        return out

    def complete(self, serial, way, more):
        rows = workbench.attempts(self.path, serial)
        finished = False
        if not rows or not rows[0][2]:
            finished = any(e["event"] == "finished" for e in self.events(serial))
            code, out, err = self.program.run(*self.command(serial, way, *more))
            demand(code == 0, "%s: gone on with, %d: %s%s" % (serial, code, out, err))
        self.program.verify(self.path, serial + ", completed")
        (_, _, ended, verdict), = workbench.attempts(self.path, serial)
        demand((ended, verdict) == ("complete", "accept"),
               "%s: %s, %s" % (serial, ended, verdict))
        if not more or (rows and rows[0][2]):
            return
        events = self.events(serial)
        resumed = [k for k, e in enumerate(events) if e["event"] == "resumed"]
        demand(resumed, serial + ": the record does not say that it was resumed")
        after = events[resumed[-1]:]
        checked = any(e["event"] == "read" and e["key"]["check"] == "bench-check" for e in after)
        demand(checked or finished, serial + ": resumed without a check of the bench")

    def events(self, serial):
        rows = workbench.attempts(self.path, serial)
        if not rows:
            return []
        number, header, _, _ = rows[0]
        return [e for e, _ in workbench.chained_events(self.path, number, header, serial)]


# --- kills of imports ---

class Imports:
    def __init__(self, program, rng, name, bench):
        self.program, self.rng, self.name = program, rng, name
        self.lines = os.path.join(program.folder, name + ".jsonl")
        self.records = workbench.real_records(program, bench, 3)
        self.events = workbench.write_lines(self.lines, self.records,
                                            ["%s-%04d" % (name, k) for k in range(IMPORTED)])
        self.ledgers = 0
        self.lasts_s = self.duration()

    def duration(self):
        """By its first tenth."""
        self.path = os.path.join(self.program.folder, self.name + "-first.sqlite")
        first = self.path + ".jsonl"
        with open(self.lines) as all_of_it, open(first, "w") as f:
            f.writelines(itertools.islice(all_of_it, IMPORTED // 10))
        begun = time.monotonic()
        code, _, err = self.program.run(*self.command(first))
        demand(code == 0, "import: " + err)
        self.remove()
        return 10 * (time.monotonic() - begun)

    def command(self, lines=None):
        return ["records", "import", "--ledger", self.path, "--profile", self.program.profile,
                lines or self.lines]

    def trial(self, most):
        """Up to `most` kills on the way of one file into one ledger."""
        self.ledgers += 1
        self.path = os.path.join(self.program.folder, "%s-%d.sqlite" % (self.name, self.ledgers))
        out = []
        for k in range(min(most, 10)):
            process = self.program.start(*self.command())
            with contextlib.suppress(subprocess.TimeoutExpired):
                # Not up to its end: what a kill leaves, the next import goes on from.
                process.wait(self.rng.uniform(0, 0.7 * self.lasts_s))
            process.kill()
            if process.wait() != -signal.SIGKILL:
                break
            when = "%s, kill %d" % (os.path.basename(self.path), k + 1)
            out.append(self.demand_whole(when))
        self.complete()
        self.remove()
        return out

    def demand_whole(self, when):
        if not os.path.exists(self.path):
            return Kill("import", "not begun", 0, 0, 0)
        self.program.verify(self.path, when)
        workbench.demand_sound(self.path, when)
        with workbench.looking(self.path) as c:
            rows = c.execute("SELECT a.serial, a.ended, count(e.number) FROM attempts a LEFT JOIN "
                             "events e ON e.attempt = a.number GROUP BY a.number").fetchall()
        for serial, ended, events in rows:
            demand(ended == "complete" and events == self.events[serial],
                   "%s: %s is torn: %s, %d events" % (when, serial, ended, events))
        demand(len({serial for serial, _, _ in rows}) == len(rows), when + ": doubles")
        stage = "none" if not rows else "all" if len(rows) == IMPORTED else "some"
        return Kill("import", stage + " of the records", sum(n for _, _, n in rows), 0, 0)

    def complete(self):
        when = os.path.basename(self.path)
        code, _, err = self.program.run(*self.command(), timeout=300 * workbench.SLOWER)
        demand(code == 0, "%s: importing again: %d: %s" % (when, code, err))
        self.demand_whole(when + ", completed")
        rows = workbench.attempts(self.path)
        demand(len(rows) == IMPORTED, "%s: %d of %d" % (when, len(rows), IMPORTED))
        for k in self.rng.sample(range(IMPORTED), 20):
            number, header, _, verdict = rows[k]
            events = workbench.chained_events(self.path, number, header, when)
            source = self.records[k % len(self.records)]["events"]
            demand([e for e, _ in events] == source and verdict == "accept",
                   "%s: record %d is not what was imported" % (when, k))

    def remove(self):
        for end in ("", "-wal", "-shm"):
            with contextlib.suppress(FileNotFoundError):
                os.remove(self.path + end)


def kill_inspections(kills, seed):
    out = []
    with tempfile.TemporaryDirectory() as folder:
        program = workbench.Program(ARGS.program, ARGS.sources, folder)
        inspections = Inspections(program, random.Random(seed), "P%d" % seed)
        try:
            while len(out) < kills:
                out += inspections.trial(kills - len(out))
        finally:
            inspections.bench.close()
    return out


def kill_imports(kills):
    out = []
    with tempfile.TemporaryDirectory() as folder:
        program = workbench.Program(ARGS.program, ARGS.sources, folder)
        with contextlib.closing(workbench.Bench(program)) as bench:
            imports = Imports(program, random.Random(7001), "M", bench)
        while len(out) < kills:
            out += imports.trial(kills - len(out))
    return out


# --- a disk that fills ---

def fill_disks():
    out = []
    with tempfile.TemporaryDirectory() as folder:
        program = workbench.Program(ARGS.program, ARGS.sources, folder)
        bench = workbench.Bench(program)
        imports = Imports(program, random.Random(1), "F", bench)
        try:
            for kind in disks():
                for size in SIZES if kind is disks()[0] or ARGS.kills > 100 else SIZES[::2]:
                    out.append(inspect_until_full(program, bench, kind, size))
            out.append(import_until_full(program, imports, disks()[0], 24_000_000))
            if ARGS.kills > 100:
                out.append(import_until_full(program, imports, SmallFiles, 24_000_000))
        finally:
            bench.close()
    return out


def print_kills(kills):
    print("%-12s %-20s %6s %22s %11s" % ("killed", "stage", "kills", "events: least median most",
                                         "seen/told"))
    rows = collections.defaultdict(list)
    for kill in kills:
        rows[kill.what, kill.stage].append(kill)
    for (what, stage), some in sorted(rows.items()):
        events = sorted(k.events for k in some)
        print("%-12s %-20s %6d %9d %6d %8d %6d/%d" %
              (what, stage, len(some), events[0], events[len(events) // 2], events[-1],
               sum(k.seen for k in some), sum(k.told for k in some)))


def test():
    begun = time.monotonic()
    imports = ARGS.kills // 15  # each takes as long as several inspections
    half = (ARGS.kills - imports) // 2
    with multiprocessing.Pool(4) as pool:
        killed = [pool.apply_async(kill_imports, (imports,)),
                  pool.apply_async(kill_inspections, (half, 7000)),
                  pool.apply_async(kill_inspections, (ARGS.kills - imports - half, 7002))]
        filled = pool.apply_async(fill_disks).get()
        kills = sum((one.get() for one in killed), [])
    print_kills(kills)
    print("%d kills; %d events seen by another process and %d told on the terminal before: all "
          "there, none torn, all chains good, all completed" %
          (len(kills), sum(k.seen for k in kills), sum(k.told for k in kills)))
    demand(len(kills) == ARGS.kills, "only %d kills" % len(kills))
    print("\n%-52s %14s %14s" % ("disk that fills", "events kept", "with room"))
    for when, kept, then in filled:
        print("%-52s %14d %14d" % (when, kept, then))
    print("%.0f s" % (time.monotonic() - begun))


if __name__ == "__main__":
    workbench.main(test)
