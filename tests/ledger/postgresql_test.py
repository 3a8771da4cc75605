"""A shared ledger on a PostgreSQL server of the test's own: what happens when the server is
killed, the network is cut, the sender is killed, and when eight write at once. Nothing is
lost, nothing comes twice, no command hangs, and an inspection always has its verdict.
Usage: postgresql_test.py PINPROOF SOURCES [--seconds S]   (77: no PostgreSQL here)"""
import argparse
import collections
import concurrent.futures
import contextlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time

sys.dont_write_bytecode = True  # the sources stay as they are
import workbench
from sending import Setting, fill_spool, inspect, send
from server import BINARIES, Network, Server
from workbench import Violation, demand

HANG_S = 30  # no command may take longer, whatever the network does
WRITERS = 8
A_FILE = 5  # records

parser = argparse.ArgumentParser()
parser.add_argument("program")
parser.add_argument("sources")
parser.add_argument("--seconds", type=float, default=10)
ARGS = parser.parse_args()


# --- (a) the ordinary way ---

def ordinary(setting):
    program, where = setting.place("ordinary")
    bench = workbench.Bench(program)
    try:
        for serial in ("A1", "A2"):
            demand(not inspect(program, bench, where, serial, "server there"),
                   "the server is there and the record waits")
    finally:
        bench.close()
    setting.demand_held("ordinary", ["A1", "A2"], "server there")
    code, out, err = program.run("records", "find", "--ledger", where, "--json")
    demand(code == 0 and "A1" in out and "A2" in out, "find: %d %s%s" % (code, out, err))
    id_, = setting.server.sql("ordinary", "SELECT id FROM attempts WHERE serial = 'A2'")
    code, out, err = program.run("records", "show", "--ledger", where, id_[0])
    demand(code == 0 and "A2" in out and "ACCEPT" in out, "show: %d %s%s" % (code, out, err))
    program.verify(where, "server there")
    # The verification has to see what somebody else changes.
    setting.server.sql("ordinary", "UPDATE events SET body = replace(body, 'read', 'raed') "
                       "WHERE attempt = 1 AND number = 5")
    code, out, _ = program.run("records", "verify", "--ledger", where)
    demand(code != 0, "a changed event is not seen: " + out)
    print("ordinary: 2 records arrive; find, show, verify; a changed event is seen")


# --- (b) the server is killed ---

def server_killed(setting, rng):
    program, where = setting.place("killed")
    bench = workbench.Bench(program)
    server, serials, waited = setting.server, [], 0

    def one(when, during=None):
        nonlocal waited
        serials.append("B%d" % len(serials))
        with concurrent.futures.ThreadPoolExecutor(1) as pool:
            running = pool.submit(inspect, program, bench, where, serials[-1], when)
            if during is not None:
                time.sleep(during)
                server.crash()
            waits = running.result()
        waited += waits
        return waits

    try:
        begun = time.monotonic()
        demand(not one("server there"), "the record waits")
        lasts_s = time.monotonic() - begun
        server.crash()
        demand(one("server down before"), "server down, and nobody says that the record waits")
        demand(one("server still down"), "server down, and nobody says that the record waits")
        server.start()
        demand(send(program, where, "server up") == 2, "two waited")
        setting.demand_held("killed", serials, "server up")
        for k in range(6):
            when = "server killed during inspection %d" % k
            one(when, lasts_s * (0.4 + 0.7 * rng.random()))
            server.start()
            send(program, where, when)
            setting.demand_held("killed", serials, when)
        one("server killed after")
        server.crash()
        server.start()
        setting.demand_held("killed", serials, "server killed after")  # before any send
    finally:
        bench.close()
    program.verify(where, "server killed")
    print("server killed before, during and after: %d inspections, all with a verdict, %d said "
          "that the record waits, all there once" % (len(serials), waited))


def backend_killed(setting, rng):
    program, where = setting.place("backend")
    server = setting.server
    serials = ["K%03d" % k for k in range(80)]
    program.verify(where, "empty")  # makes the schema: the kills should meet the sending
    fill_spool(setting, program, where, serials)
    hits = 0
    for _ in range(5):
        process = program.start("records", "send", "--ledger", where, stderr=subprocess.PIPE)
        pids = []
        while not pids and process.poll() is None:
            pids = server.sql("postgres",
                              "SELECT pid FROM pg_stat_activity WHERE datname = 'backend'")
        time.sleep(rng.uniform(0, 0.2))
        for pid, in pids:
            with contextlib.suppress(ProcessLookupError):
                os.kill(int(pid), signal.SIGKILL)
        _, err = process.communicate(timeout=HANG_S)
        code = process.returncode
        demand(code == 0 or (code == 4 and err), "backend killed: send: %d: %s" % (code, err))
        hits += code == 4
        server.until_ready()
    send(program, where, "backend killed")
    setting.demand_held("backend", serials, "backend killed")
    program.verify(where, "backend killed")
    print("backend killed: %d of 5 sends cut off, then %d records there once" %
          (hits, len(serials)))


# --- (c) the network is cut ---

Cut = collections.namedtuple("Cut", "deed how at lasting")
CUTS = ([Cut("inspect", "hole", at, True) for at in ("connect", "start", "commit", "answer")] +
        [Cut("import", "hole", "answer", True), Cut("find", "hole", "connect", True),
         Cut("find", "hole", "start", True)] +
        [Cut("inspect", "reset", at, True) for at in ("connect", "start", "commit", "answer")] +
        [Cut("inspect", "reset", at, False) for at in ("start", "commit", "answer")] +
        [Cut("import", "reset", "answer", True), Cut("find", "reset", "start", True)] +
        [Cut("import", "reset", at, False) for at in ("start", "commit", "answer")])


def cut_off(setting, number, cut, rng):
    """Seconds from the cut to the command's end, and whether it knew of the trouble."""
    name = "cut%d" % number
    when = "%s, %s at %s%s" % (cut.deed, cut.how, cut.at, "" if cut.lasting else ", once")
    network = Network(setting.server.port, cut.how, cut.at, cut.lasting, rng.randint(3, 12))
    program, where = setting.place(name, network.here)
    program.verify(setting.server.at(setting.server.port, name), when)  # makes the schema
    serials = ["%s-%d" % (name, k) for k in range(1 if cut.deed == "inspect" else 3)]
    if cut.deed == "inspect":
        bench = workbench.Bench(program)
        try:
            knew = inspect(program, bench, where, serials[0], when)
        finally:
            bench.close()
    elif cut.deed == "find":
        fill_spool(setting, program, where, serials)
        code, _, err = program.run("records", "find", "--ledger", where)
        demand(code in (0, 4) and err, "%s: %d: %s" % (when, code, err))
        knew = code == 4
    else:
        lines = setting.lines(os.path.join(program.folder, "lines"), serials)
        code, _, err = program.run("records", "import", "--profile", program.profile, "--ledger",
                                   where, lines)
        demand(code == 4 and err, "%s: ends with %d: %s" % (when, code, err))
        knew = True
    demand(network.hits, when + ": was not cut")
    took = time.monotonic() - network.first_s
    demand(took < HANG_S, "%s: took %.0f s" % (when, took))
    network.mended = True
    if cut.deed == "import":
        code, _, err = program.run("records", "import", "--profile", program.profile, "--ledger",
                                   where, lines)
        demand(code == 0, "%s: importing again: %d: %s" % (when, code, err))
    else:
        send(program, where, when)
    setting.demand_held(name, serials, when)
    program.verify(where, when)
    return when, took, knew


def network_cut(setting, rng):
    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        running = [pool.submit(cut_off, setting, k, cut, random.Random(rng.random()))
                   for k, cut in enumerate(CUTS)]
        failed = []
        print("%-36s %9s %s" % ("network cut", "ended in", "told"))
        for one in running:
            try:
                when, took, knew = one.result()
                print("%-36s %7.1f s %s" % (when, took, "yes" if knew else "no"))
            except Violation as e:
                print("VIOLATION %s" % e)
                failed.append(str(e))
    demand(not failed, "%d of %d cuts: %s" % (len(failed), len(CUTS), failed[:1]))


# --- (d) the sender is killed ---

def sender_killed(setting, rng, kills=20):
    program, where = setting.place("sender")
    serials = ["S%04d" % k for k in range(60)]
    fill_spool(setting, program, where, serials)
    begun = time.monotonic()
    send(program, where, "sender left alone")
    lasts_s = time.monotonic() - begun
    killed = cut_short = 0
    while killed < kills:
        before = len(serials)
        fresh = ["S%04d" % (len(serials) + k) for k in range(60)]
        serials += fresh
        fill_spool(setting, program, where, fresh)
        while killed < kills:
            process = program.start("records", "send", "--ledger", where)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(rng.uniform(0, 0.5) * lasts_s)
            process.kill()
            if process.wait() == 0:
                break
            killed += 1
            there = int(setting.server.sql("sender", "SELECT count(*) FROM attempts")[0][0])
            cut_short += before < there < len(serials)
    send(program, where, "sender killed")
    setting.demand_held("sender", serials, "sender killed")
    program.verify(where, "sender killed")
    print("sender killed: %d kills (%d with some of what waited there), then %d records there "
          "once" % (killed, cut_short, len(serials)))


# --- (e) eight at once ---

class Writers:
    def __init__(self, setting, seconds):
        self.setting, self.seconds = setting, seconds
        self.program, self.where = setting.place("writers")
        self.lock = threading.Lock()
        self.acknowledged, self.took = [], []
        self.files = []  # already imported by somebody
        self.twice = self.inspections = self.verified = 0

    def note(self, serials, seconds):
        with self.lock:
            self.acknowledged += serials
            self.took.append(seconds)

    def import_file(self, path):
        begun = time.monotonic()
        code, _, err = self.program.run("records", "import", "--profile", self.program.profile,
                                        "--ledger", self.where, path)
        demand(code == 0, "eight at once: import gives %d: %s" % (code, err))
        return time.monotonic() - begun

    def write(self, number):
        rng = random.Random(9000 + number)
        bench = workbench.Bench(self.program, "writer%d" % number) if number < 2 else None
        try:
            for k in range(1_000_000):
                if time.monotonic() > self.end:
                    return
                if bench and k % 4 == 1:
                    serial = "I%d-%d" % (number, k)
                    begun = time.monotonic()
                    demand(not inspect(self.program, bench, self.where, serial, "eight at once"),
                           "eight at once: a record waits")
                    self.note([serial], time.monotonic() - begun)
                    self.inspections += 1
                    continue
                serials = ["W%d-%d-%d" % (number, k, one) for one in range(A_FILE)]
                path = os.path.join(self.program.folder, "w%d-%d" % (number, k))
                self.note(serials, self.import_file(self.setting.lines(path, serials)))
                self.files.append(path)
                if rng.random() < 0.1:  # what somebody else has imported already
                    self.import_file(rng.choice(self.files))
                    self.twice += 1
        finally:
            if bench:
                bench.close()

    def verify(self):
        while time.monotonic() < self.end:
            self.program.verify(self.where, "while eight write")
            self.verified += 1
            time.sleep(1)

    def run(self):
        self.end = time.monotonic() + self.seconds
        begun = time.monotonic()
        # The schema is made by all of them at once, too.
        with concurrent.futures.ThreadPoolExecutor(WRITERS + 1) as pool:
            running = [pool.submit(self.write, k) for k in range(WRITERS)]
            running.append(pool.submit(self.verify))
            failed = [str(one.exception()) for one in running if one.exception()]
        lasted = time.monotonic() - begun
        demand(not failed, "; ".join(failed[:2]))
        there = self.setting.demand_held("writers", self.acknowledged, "eight at once")
        self.program.verify(self.where, "eight at once")
        took = sorted(self.took)
        print("eight at once for %.0f s: %d records acknowledged, %d there, no doubles; %.1f "
              "records/s; %d inspections, %d files imported twice, verified %d times meanwhile; a "
              "command took %.2f s (median), %.2f s (longest)" %
              (lasted, len(self.acknowledged), there, there / lasted, self.inspections, self.twice,
               self.verified,
               took[len(took) // 2], took[-1]))


def test():
    if not os.path.exists(os.path.join(BINARIES, "initdb")):
        print("SKIP: no PostgreSQL 15 here")
        sys.exit(77)
    begun = time.monotonic()
    rng = random.Random(15)
    with tempfile.TemporaryDirectory() as folder:
        program = workbench.Program(ARGS.program, ARGS.sources, folder)
        bench = workbench.Bench(program)
        records = workbench.real_records(program, bench, 3)
        bench.close()
        server = Server(folder)
        try:
            setting = Setting(ARGS, folder, server, records)
            ordinary(setting)
            server_killed(setting, rng)
            backend_killed(setting, rng)
            sender_killed(setting, rng)
            Writers(setting, ARGS.seconds).run()
            network_cut(setting, rng)
        finally:
            server.crash()
    print("%.0f s" % (time.monotonic() - begun))


if __name__ == "__main__":
    workbench.main(test)
