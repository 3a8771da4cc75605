"""A run as it is seen on a terminal: a small terminal of our own takes what pinproof writes.
Usage: terminal_test.py PINPROOF SOURCES"""
import fcntl
import json
import os
import pty
import re
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
import unicodedata

PINPROOF, SOURCES = sys.argv[1], sys.argv[2]
SIX = os.path.join(SOURCES, "profiles", "six-speed-20-pin.json")
HOSTILE = ("\x1b[2J\x1b]0;title\x07\u202egpj\u2066\u200f\u009b31m\r\n\t\x7f漢字🙂e" +
           "\u0301" * 40)
STEERING = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
passed = failed = 0


def check(what, good, seen=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print("FAILED", what, str(seen)[:1500])


def width(char):
    """Unicode's UAX 11, as terminals follow it."""
    if unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


class Terminal:
    """ECMA-48 as far as pinproof may use it: CR, LF, cursor up, erase line. All else is noted."""

    def __init__(self, columns, rows):
        self.columns, self.rows = columns, rows
        self.lines = [[" "] * columns for _ in range(rows)]
        self.gone = []  # scrolled out at the top
        self.x = self.y = self.widest = 0
        self.strange, self.frames, self.seen = [], 0, []
        self.before = ""  # the control before this one
        self.rest = ""

    def take(self, text):
        text = self.rest + text
        self.rest = ""
        at = 0
        while at < len(text):
            if text[at] == "\x1b":
                found = re.compile(r"\x1b\[(\d*)([A-Za-z])").match(text, at)
                if not found and len(text) - at < 8:  # the rest of it is to come
                    self.rest = text[at:]
                    break
                at = found.end() if found else at + 1
                self.control(found)
                continue
            self.put(text[at])
            at += 1
        self.seen.append(self.text())

    def control(self, found):
        kind = found.group(2) if found else ""
        if kind == "A":
            self.y = max(0, self.y - int(found.group(1) or 1))
        elif kind == "K" and found.group(1) == "2":
            self.lines[self.y] = [" "] * self.columns
            self.frames += self.before == "A"
        else:
            self.strange.append(found.group(0) if found else "\x1b")
        self.before = kind

    def put(self, char):
        if char == "\r":
            self.x = 0
        elif char == "\n":
            self.y += 1
            if self.y == self.rows:
                self.y -= 1
                self.gone.append("".join(self.lines.pop(0)))
                self.lines.append([" "] * self.columns)
        elif STEERING.match(char):
            self.strange.append(char)
        else:
            wide = width(char)
            self.widest = max(self.widest, self.x + wide)
            if self.x + wide <= self.columns and wide > 0:
                self.lines[self.y][self.x] = char
            self.x += wide

    def text(self):
        return "\n".join(self.gone + ["".join(line) for line in self.lines])


def run(command, columns, rows, report_too=False, **environment):
    """The terminal after the command, its exit code, its stdout, and the seconds it took."""
    near, far = pty.openpty()
    fcntl.ioctl(far, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    settings = {"TERM": "xterm", **{k: v for k, v in os.environ.items() if k != "NO_COLOR"}}
    settings.update({"TERM": "xterm", **environment})
    began = time.monotonic()
    with tempfile.TemporaryFile() as out:
        process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stderr=far,
                                   stdout=far if report_too else out, env=settings)
        os.close(far)
        terminal, undecoded = Terminal(columns, rows), b""
        while True:
            ready, _, _ = select.select([near], [], [], 60)
            try:
                data = os.read(near, 4096) if ready else b""
            except OSError:  # nobody holds the other end any more
                data = b""
            if not data:
                break
            undecoded += data
            text = undecoded.decode("utf-8", "ignore")
            cut = len(undecoded) - len(text.encode())
            if cut > 3:
                check("what comes is UTF-8", False, undecoded[:200])
            undecoded = undecoded[len(undecoded) - cut:] if 0 < cut <= 3 else b""
            terminal.take(text)
        os.close(near)
        code = process.wait()
        out.seek(0)
        return terminal, code, out.read().decode(), time.monotonic() - began


class Bench:
    def __init__(self, folder, profile, speed, *more):
        self.file = os.path.join(folder, "bench.json")
        if os.path.exists(self.file):
            os.remove(self.file)
        self.process = subprocess.Popen(
            [PINPROOF, "simulate", "--profile", profile, "--seed", "7", "--speed", str(speed),
             "--bench-file", self.file, *more], stdout=subprocess.DEVNULL)
        for _ in range(400):
            if os.path.exists(self.file):
                return
            time.sleep(0.02)
        raise RuntimeError("the simulated bench did not start")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait()


def inspect(profile, bench, *more):
    return [PINPROOF, "inspect", "--profile", profile, "--bench", bench.file, "--ledger", "none",
            *more]


def look_at_run(folder, columns, rows):
    where = "%d x %d" % (columns, rows)
    with Bench(folder, SIX, 30) as bench:
        t, code, out, took = run(inspect(SIX, bench, "--serial", "A17"), columns, rows)
    check(where + ": accepted", code == 0 and "ACCEPT" in out, (code, out))
    check(where + ": no line wider", 0 < t.widest < columns, t.widest)
    check(where + ": nothing else steers", not t.strange, t.strange)
    bars = [s for s in t.seen if re.search(r"\[=+>-+\] +\d+ %  \d+ of \d+", s)]
    check(where + ": bar in mid-run", len(bars) > 3, t.seen[len(t.seen) // 2:][:1])
    check(where + ": time left", any(re.search(r"\d+ (s|min) left", s) for s in bars))
    middle = bars[len(bars) // 2] if bars else ""
    # How far the run is by half of its frames is the machine's affair; in a low window the checks
    # that told nothing for longest have made room by then.
    counted = re.findall(r"^([> ]) (\w[^\n]*?) +\d+ read", middle, re.M)
    check(where + ": counts", 3 < len(counted) <= rows - 5, middle)
    check(where + ": one of them is at work", [mark for mark, _ in counted].count(">") <= 1
          and any(re.search(r"^> \w.* \d+ read", s, re.M) for s in bars), middle)
    check(where + ": the first check counts", any(re.search(r"Feed and ground.* \d+ read", s)
                                                  for s in bars), bars[:1])
    check(where + ": newest reading", re.search(r": -?[\d.]+ ± [\d.]+ ?\S+", middle)
          or re.search(r": (open|captured)", middle), middle)
    check(where + ": it goes on", len({re.search(r"(\d+) of", s).group(1) for s in bars}) > 3)
    check(where + ": clean at the end", t.text().strip() == "" and t.x == 0, t.text())
    check(where + ": nothing scrolled away", not t.gone, t.gone)
    check(where + ": at most 15 a second", 3 < t.frames <= 15 * took + 3, (t.frames, took))


def look_at_report(folder):
    with Bench(folder, SIX, 0) as bench:
        t, code, _, _ = run(inspect(SIX, bench, "--serial", "A17", "--static"), 80, 24, True)
    lines = [line.rstrip() for line in t.text().split("\n")]
    check("report stands alone", code == 0 and lines[0].startswith("✔ ACCEPT"), lines)
    check("no bar beside it", not any("[=" in l or "> " in l for l in lines), lines)


def renamed(value, old, new):
    if isinstance(value, dict):
        return {k: renamed(v, old, new) for k, v in value.items()}
    if isinstance(value, list):
        return [renamed(v, old, new) for v in value]
    return new if value == old else value


def look_at_hostile_names(folder):
    with open(SIX) as f:
        profile = json.load(f)
    path = os.path.join(folder, "hostile.json")
    for k, part in enumerate([p["name"] for p in profile["parts"]
                              if p["kind"] in ("coil", "switch", "thermistor")]):
        profile = renamed(profile, part, "K" + HOSTILE + str(k) + "x" * 200)
    with open(path, "w") as f:
        json.dump(profile, f)
    html = os.path.join(folder, "h.html")
    with Bench(folder, path, 10) as bench:
        for columns, rows in (80, 24), (40, 12):
            t, code, out, _ = run(
                inspect(path, bench, "--serial", HOSTILE, "--lot", HOSTILE + "y" * 10000,
                        "--note", HOSTILE, "--static", "--html", html), columns, rows)
            check("hostile: accepted", code == 0, (code, out, t.text()))
            check("hostile: the part was on the screen", any("K?[2J" in s for s in t.seen)
                  or columns < 80, t.seen[-2:])
            check("hostile: nothing of it steers", not t.strange, t.strange)
            check("hostile: no line wider", t.widest < columns, t.widest)
            check("hostile: clean at the end", t.text().strip() == "", t.text())
            bad = STEERING.findall(out)
            check("hostile: nor in the report", not bad, bad)


def look_elsewhere(folder):
    with Bench(folder, SIX, 0) as bench:
        command = inspect(SIX, bench, "--static", "--serial", HOSTILE)
        for name, value in ("NO_COLOR", "1"), ("TERM", "dumb"):
            t, code, _, _ = run(command, 80, 24, **{name: value})
            check(name + ": nothing drawn", code == 0 and t.widest == 0 and not t.strange, t.text())
        piped = subprocess.run(command, capture_output=True, stdin=subprocess.DEVNULL)
        check("no terminal: no escapes", piped.returncode == 0 and b"\x1b" not in piped.stderr
              and b"\x1b" not in piped.stdout, piped.stderr)


def look_at_long_work(folder):
    ledger = os.path.join(folder, "l.sqlite")
    lines = os.path.join(folder, "r.jsonl")
    with Bench(folder, SIX, 0) as bench:
        code = subprocess.run([PINPROOF, "inspect", "--profile", SIX, "--bench", bench.file,
                               "--serial", "A17", "--lot", "W1", "--ledger", ledger, "--record",
                               lines], stdin=subprocess.DEVNULL, capture_output=True).returncode
        check("a record", code == 0, code)
    with open(lines) as f:
        one = json.load(f)
    with open(lines, "w") as f:
        for k in range(24):
            one["header"]["id"] = "%026d" % k
            f.write(json.dumps(one) + "\n")
    records = [PINPROOF, "records"]
    jobs = [("import", [lines, "--profile", SIX], r"Records imported +\d+"),
            ("verify", [], r"Records verified +\[[=>-]+\] +\d+ %"),
            ("export", ["--csv", os.path.join(folder, "r.csv"), "--lines",
                        os.path.join(folder, "s.jsonl")],
             r"Records exported +\[[=>-]+\] +\d+ %")]
    for deed, more, wanted in jobs:
        t, code, _, took = run(records + [deed, *more, "--ledger", ledger], 80, 24)
        check(deed + ": done", code == 0, t.text())
        if deed != "verify" or took > 1:  # what is over in a moment has no bar
            check(deed + ": bar", any(re.search(wanted, s) for s in t.seen), t.seen)
        check(deed + ": bar gone", not re.search(wanted, t.text()), t.text())
        check(deed + ": no line wider", t.widest < 80 and not t.strange, t.widest)


with tempfile.TemporaryDirectory() as work:
    os.environ.update({"XDG_DATA_HOME": work, "PINPROOF_LEDGER": "none"})
    for size in (80, 24), (40, 12):
        look_at_run(work, *size)
    look_at_report(work)
    look_at_hostile_names(work)
    look_elsewhere(work)
    look_at_long_work(work)
print("passed: %d, failed: %d" % (passed, failed))
sys.exit(0 if failed == 0 and passed > 40 else 1)
