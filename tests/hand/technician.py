"""A technician for tests: reads the prompts of pinproof on a pseudo-terminal and
does what they say to a simulated bench, over its own sockets: puts the probes on
the pins (relays), moves the lever, applies air, presses the keys."""
import json
import multiprocessing
import os
import pty
import re
import select
import socket
import subprocess
import tempfile
import time

os.environ.setdefault("PINPROOF_LEDGER", "none")  # leaves nothing in anybody's home
SLOWER = float(os.environ.get("PINPROOF_TEST_SLOWER", 1))  # a sanitizer's build


failures = []


def check(what, good, detail=""):
    print(("ok    " if good else "FAIL  ") + what + (" " + str(detail) if detail != "" else ""),
          flush=True)
    if not good:
        failures.append(what)


def _alone(part):
    del failures[:]
    with tempfile.TemporaryDirectory() as folder:
        try:
            part(folder)
        except Exception as e:  # the other parts are tried all the same
            check(getattr(part, "func", part).__name__ + " comes to its end", False, repr(e))
    return list(failures)


def side_by_side(parts, at_once):
    """Runs the parts, each in a process and a folder of its own, the longest first: whoever works by
    hand mostly waits. Exits with what came of the checks."""
    with multiprocessing.Pool(at_once) as pool:
        failed = [one for found in pool.imap(_alone, parts, chunksize=1) for one in found]
    print("%d failures" % len(failed), *failed, sep="\n  ")
    raise SystemExit(1 if failed else 0)


class Line:
    """One SCPI conversation."""

    def __init__(self, port):
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=10)
        self.file = self.socket.makefile("rw", newline="\n")

    def tell(self, message):
        self.file.write(message + ";*OPC?\n")
        self.file.flush()
        if self.file.readline().strip() != "1":
            raise RuntimeError("no answer to " + message)


_tries = 0


def free_ports(count):
    """The first of so many ports, below those that the system hands out by itself."""
    global _tries
    while True:
        _tries += 1
        first = 20000 + (os.getpid() * 131 + _tries * count) % 10000
        try:
            for port in range(first, first + count):
                with socket.socket() as s:
                    s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                    s.bind(("127.0.0.1", port))
            return first
        except OSError:
            continue


class Bench:
    """A simulated bench whose bench file is for a person with a meter."""

    def __init__(self, program, profile, seed, faults, folder, connect="hand", harness=None,
                 speed=0):
        self.bench_file = os.path.join(folder, "bench-" + connect + ".json")
        if os.path.exists(self.bench_file):
            os.remove(self.bench_file)
        first = free_ports(5)
        command = [program, "simulate", "--profile", profile, "--seed", str(seed), "--speed",
                   str(speed),
                   "--port", str(first), "--bench-file", self.bench_file, "--connect", connect]
        for fault in faults:
            command += ["--fault", fault]
        if harness:
            command += ["--harness", harness]
        self.connect = connect
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        try:
            self.wait_for_bench(60)
            self.matrix = Line(first + 1)
            self.actuator = Line(first + 4)
        except Exception:
            self.close()
            raise
        if connect == "hand":
            self.set_dwell(0.02)  # a simulated hand does not tremble
        with open(profile) as f:
            self.profile = json.load(f)
        pins = [p["number"] for p in self.profile["connector"]["pins"]]
        if harness:
            with open(harness) as f:
                wires = json.load(f)["wires"]
            pins = [w["controller"] for w in wires] + ["plug " + w["pack"] for w in wires] + pins
        self.columns = {pin: i + 1 for i, pin in enumerate(pins)}
        self.columns["case"] = len(pins) + 1
        self.reference = len(pins) + 2
        self.positions = [p["name"] for p in self.profile["lever"]["positions"]] \
            if "lever" in self.profile else []
        self.elements = []
        for part in self.profile["parts"]:
            if part["kind"] == "switch" and part["element"] not in self.elements:
                self.elements.append(part["element"])

    def wait_for_bench(self, limit_s):
        end = time.monotonic() + limit_s
        while not os.path.exists(self.bench_file):
            if self.process.poll() is not None:
                raise RuntimeError("simulate ended")
            if time.monotonic() > end:
                raise RuntimeError("no bench file after %d s" % limit_s)
            time.sleep(0.02)

    def set_dwell(self, seconds):
        with open(self.bench_file) as f:
            bench = json.load(f)
        bench["fixture"]["dwell_s"] = seconds
        with open(self.bench_file, "w") as f:
            json.dump(bench, f)

    def close(self):
        self.process.kill()
        self.process.wait()

    def lift(self):
        self.matrix.tell("ROUT:OPEN:ALL")

    def touch(self, red, black):
        self.matrix.tell("ROUT:CLOS (@1!%d,2!%d)" % (red, black))


def node(text):
    """The node of "pin 3 (coil B feed)" or "the case (metal body)"."""
    if text.startswith("the case"):
        return "case"
    return re.match(r"(?:pin )?((?:plug )?\S+)", text).group(1)


class Technician:
    def __init__(self, bench, arguments, before=None):
        self.bench = bench
        self.before = before or (lambda technician, line: False)
        self.seen = ""
        self.transcript = ""
        self.prompts = 0
        self.waiting_since = 0
        self.red, self.pair, self.touched_at = "", None, 0
        self.warmed = False
        self.reaction = 0.02 if bench.connect == "hand" else 0.5
        self.presses = 1  # of Enter, where one would do
        self.pid, self.terminal = pty.fork()
        if self.pid == 0:
            os.environ["TERM"] = "xterm"
            os.execv(arguments[0], arguments)

    def press(self, keys):
        if keys == "\r":
            keys *= self.presses
        os.write(self.terminal, keys.encode())

    def done(self):
        """A moment after the request, as people are: sooner is taken for a slip."""
        time.sleep(self.reaction)
        self.press("\r")

    def work(self, at_most_s):
        """Until the program ends; its exit code."""
        end = time.time() + at_most_s * SLOWER
        while time.time() < end:
            ready, _, _ = select.select([self.terminal], [], [], 0.02)
            # A resistor is no open, however long the meter takes to see it.
            patience = 2 if "reference resistor" in self.red else 0.1
            if self.waiting_since and time.time() - self.waiting_since > patience:
                # Both probes have been on for a while and it still says so.
                self.waiting_since = time.time() + 0.2
                self.press("\r")
            if not ready:
                continue
            try:
                data = os.read(self.terminal, 65536)
            except OSError:
                break
            if not data:
                break
            text = data.decode("utf-8", "replace")
            self.transcript += text
            self.seen += text
            self.look()
        else:
            os.kill(self.pid, 9)
            raise RuntimeError("the program waits: " + self.transcript[-600:])
        _, status = os.waitpid(self.pid, 0)
        os.close(self.terminal)
        return os.waitstatus_to_exitcode(status)

    def look(self):
        while True:
            cut = re.search(r"\r?\n|\r\x1b\[2?K", self.seen)
            if not cut:
                # The line that changes has no end of its own.
                if self.live(self.seen):
                    self.seen = ""
                return
            line = self.seen[:cut.start()].strip()
            self.seen = self.seen[cut.end():]
            if line:
                self.obey(line)

    def live(self, line):
        if "s: skip" in line or line.rstrip().endswith(("in °C:", "skipped?")):
            self.obey(line.strip())
            return True
        return False

    def obey(self, line):
        line = re.sub(r"\x1b\[[0-9]*[A-Z]", "", line).strip()  # a progress that steps aside
        if "s: skip" not in line:
            self.waiting_since = 0
        if self.before(self, line):
            return
        bench = self.bench
        if line.startswith("Touch  RED"):
            self.red = line[14:].strip()
        elif line.startswith("BLACK"):
            self.prompts += 1
            bench.lift()
            time.sleep(0.01)
            if "high reference resistor" in self.red:
                self.pair = (bench.reference + 2, bench.reference + 3)
            elif "reference resistor" in self.red:
                self.pair = (bench.reference, bench.reference + 1)
            else:
                self.pair = (bench.columns[node(self.red)], bench.columns[node(line[7:].strip())])
            bench.touch(*self.pair)
            self.touched_at = self.waiting_since = time.time()
        elif line.startswith("Touch the two probes together"):
            bench.lift()
            time.sleep(0.01)
            self.pair = (bench.reference, bench.reference)
            bench.touch(*self.pair)
            self.touched_at = self.waiting_since = time.time()
        elif line.startswith("Hold the probes apart"):
            self.pair = None
            bench.lift()
            self.press("\r")
        elif "Enter if both" in line or "Enter takes it" in line:
            self.waiting_since = self.waiting_since or time.time()
        elif "not steady" in line:
            self.waiting_since = 0
        elif "lift the probes" in line:
            # Too short for the meter, on a busy machine: once more, and longer.
            self.waiting_since = 0
            # (What it still said when the probes had just been moved is old.)
            if self.pair and time.time() - self.touched_at > 1:
                bench.lift()
                time.sleep(0.1)
                bench.touch(*self.pair)
                self.touched_at = time.time()
        elif line.startswith("Move the lever to "):
            bench.actuator.tell("POS %d" % bench.positions.index(line[18:].rstrip(".")))
            self.done()
        elif line.startswith("Take your hands off"):
            self.done()
        elif line.startswith(("Plug the harness", "Unplug the harness")):
            bench.actuator.tell("SIM:PLUG %d" % line.startswith("Plug"))
            self.done()
        elif line.startswith(("Warm the pack", "Let the pack cool")):
            bench.actuator.tell("SIM:SOAK %d" % line.startswith("Warm"))
            self.warmed = True
            self.done()
        elif line.startswith("Shut the air off"):
            bench.actuator.tell("ROUT:OPEN:ALL")
            self.done()
        elif line.startswith("Apply "):
            kpa = float(re.search(r"Apply ([0-9.]+) kPa", line).group(1))
            names = re.search(r"of air to (.*?) and hold", line).group(1).split(" and ")
            valves = ",".join(str(bench.elements.index(n) + 1) for n in names)
            bench.actuator.tell("ROUT:OPEN:ALL;:PRES %g;:ROUT:CLOS (@%s)" % (1000 * kpa, valves))
            self.done()
        elif line.startswith("Temperature of the pack"):
            self.press("23\r")


def verdict_of(program, profile, record):
    out = subprocess.run([program, "report", record, "--profile", profile, "--json"],
                         stdout=subprocess.PIPE)
    report = json.loads(out.stdout)
    return report["verdict"], sorted({f["kind"] for f in report.get("findings", [])})


def by_matrix(program, profile, seed, faults, folder):
    bench = Bench(program, profile, seed, faults, folder, "matrix")
    record = os.path.join(folder, "matrix.json")
    try:
        code = subprocess.run([program, "inspect", "--profile", profile, "--bench",
                               bench.bench_file, "--static", "--record", record],
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode
    finally:
        bench.close()
    return (code,) + verdict_of(program, profile, record)


def by_hand(program, profile, seed, faults, folder, before=None, at_most_s=300, more=()):
    bench = Bench(program, profile, seed, faults, folder)
    record = os.path.join(folder, "hand.json")
    try:
        technician = Technician(bench, [program, "inspect", "--profile", profile, "--bench",
                                        bench.bench_file, "--record", record, *more], before)
        code = technician.work(at_most_s)
    finally:
        bench.close()
    return (code,) + verdict_of(program, profile, record), technician
