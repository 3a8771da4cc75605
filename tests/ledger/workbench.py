"""What the tests of the ledger share: a simulated bench, commands, and a look into a
ledger's file that trusts none of our own code."""
import contextlib
import hashlib
import json
import os
import sqlite3
import subprocess
import sys
import time

PROFILE = "six-speed-20-pin.json"
SLOWER = float(os.environ.get("PINPROOF_TEST_SLOWER", 1))  # a sanitizer's build


class Violation(Exception):
    """A promise of the ledger that was not kept."""


def demand(true, what):
    if not true:
        raise Violation(what)


class Program:
    def __init__(self, path, sources, folder):
        self.path, self.folder = path, folder
        self.profile = os.path.join(sources, "profiles", PROFILE)
        self.data = os.path.join(folder, "data")

    def environment(self):
        # The spool of a server and the default ledger lie in the temp folder, never at home.
        kept = {k: v for k, v in os.environ.items() if k != "PINPROOF_LEDGER"}
        return dict(kept, XDG_DATA_HOME=self.data)

    def start(self, *words, **options):
        options.setdefault("stdin", subprocess.DEVNULL)
        options.setdefault("stdout", subprocess.DEVNULL)
        options.setdefault("stderr", subprocess.DEVNULL)
        return subprocess.Popen([self.path, *words], env=self.environment(), **options)

    def run(self, *words, timeout=60 * SLOWER, **options):
        """Exit code, standard output, standard error."""
        process = self.start(*words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options)
        try:
            out, err = process.communicate(timeout=timeout)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            raise Violation("%s: not over after %d s" % (" ".join(words[:2]), timeout)) from None
        return process.returncode, out.decode(), err.decode()

    def inspection(self, bench, serial, ledger, *more):
        return ["inspect", "--profile", self.profile, "--bench", bench.file, "--serial", serial,
                "--lot", "L1", "--ledger", ledger, *more]

    def verify(self, ledger, when):
        code, out, err = self.run("records", "verify", "--ledger", ledger)
        demand(code == 0, "%s: verify gives %d: %s%s" % (when, code, out, err))
        return out


class Bench:
    """A simulated bench with a good pack."""

    def __init__(self, program, name="bench"):
        self.file = os.path.join(program.folder, name + ".json")
        self.account = os.path.join(program.folder, name + ".account")
        self.process = program.start("simulate", "--profile", program.profile, "--seed", "7",
                                     "--speed", "0", "--bench-file", self.file,
                                     "--account", self.account)
        end = time.monotonic() + 20 * SLOWER
        while not os.path.exists(self.file):
            demand(time.monotonic() < end and self.process.poll() is None, "no simulated bench")
            time.sleep(0.01)

    def output(self):
        """"on", "off", or "never on"."""
        with open(self.account) as f:
            lines = [line for line in f if line.endswith("\n")]
        return json.loads(lines[-1])["output"] if lines else "never on"

    def demand_off(self, when):
        end = time.monotonic() + 2
        while self.output() == "on" and time.monotonic() < end:
            time.sleep(0.01)
        demand(self.output() != "on", when + ": the output stays on")

    def close(self):
        self.process.kill()
        self.process.wait()


def sha(text):
    return hashlib.sha256(text.encode()).hexdigest()


@contextlib.contextmanager
def looking(path):
    """Read-only, so that closing it neither checkpoints nor tidies up: recovery is left to
    the program under test."""
    connection = sqlite3.connect("file:%s?mode=ro" % path, uri=True, timeout=10)
    try:
        yield connection
    finally:
        connection.close()


def attempts(path, serial=None):
    """(number, header, ended, verdict) of each attempt; none where there is no ledger yet."""
    if not os.path.exists(path):
        return []
    try:
        with looking(path) as c:
            return c.execute("SELECT number, header, ended, verdict FROM attempts WHERE serial = ?1"
                             " OR ?1 IS NULL ORDER BY number", (serial,)).fetchall()
    except sqlite3.OperationalError as e:
        if "no such table" in str(e):
            return []
        raise


def chained_events(path, number, header, when):
    """The events of one attempt, each with its hash: no gap, valid JSON, and chained."""
    out, before = [], sha(header)
    with looking(path) as c:
        rows = c.execute("SELECT number, body, hash FROM events WHERE attempt = ? ORDER BY number",
                         (number,)).fetchall()
    for k, (at, body, kept) in enumerate(rows):
        demand(at == k, "%s: event %d is missing" % (when, k))
        before = sha(before + "\n" + body)
        demand(kept == before, "%s: event %d does not fit its hash" % (when, k))
        try:
            out.append((json.loads(body), kept))
        except ValueError:
            raise Violation("%s: event %d is torn: %s" % (when, k, body[:80])) from None
    return out


def demand_sound(path, when):
    """By the database's own word, not ours."""
    with looking(path) as c:
        answer = c.execute("PRAGMA integrity_check").fetchall()
    demand(answer == [("ok",)], "%s: integrity_check: %s" % (when, answer[:3]))


def real_records(program, bench, count):
    """Records of real static inspections, without their ids."""
    ledger = os.path.join(program.folder, "real.sqlite")
    lines = os.path.join(program.folder, "real.jsonl")
    for k in range(count):
        code, out, err = program.run(*program.inspection(bench, "R%d" % k, ledger, "--static"))
        demand(code == 0, "a good pack is not accepted: %s%s" % (out, err))
    code, _, err = program.run("records", "export", "--ledger", ledger, "--lines", lines)
    demand(code == 0, "export: " + err)
    with open(lines) as f:
        records = [json.loads(line) for line in f]
    for record in records:
        del record["header"]["id"]  # the import makes one from the bytes
    return records


def write_lines(path, records, serials):
    """A record a serial, of the given ones in turn; how many events each serial has."""
    events = {}
    texts = []
    for record in records:
        mark = "@serial@"
        texts.append(json.dumps(dict(record, header=dict(record["header"], serial=mark)),
                                separators=(",", ":")))
    with open(path, "w") as f:
        for k, serial in enumerate(serials):
            f.write(texts[k % len(texts)].replace(mark, serial, 1) + "\n")
            events[serial] = len(records[k % len(records)]["events"])
    return events


def main(test):
    """Runs it; a violation is told in one line and ends with 1."""
    try:
        test()
    except Violation as e:
        print("VIOLATION: %s" % e)
        sys.exit(1)
