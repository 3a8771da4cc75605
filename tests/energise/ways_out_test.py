"""No way out leaves a coil energised: whole inspections with a supply that only has
an output switch, ended in mid-pulse at random instants by kill -9, Ctrl-C, SIGTERM,
the supply's link lost, an exception (the supply answers garbage), a full disk, and
kill -9 of the guardian. By the simulator's own account the output must be off
within 200 ms of it, and no coil may get more than its energy budget.
Usage: ways_out_test.py PINPROOF SOURCES [TRIALS]"""
import json
import multiprocessing
import os
import random
import resource
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time

os.environ.setdefault("PINPROOF_LEDGER", "none")  # leaves nothing in anybody's home

PROGRAM, SOURCES = sys.argv[1], sys.argv[2]
TRIALS = int(sys.argv[3]) if len(sys.argv) > 3 else 200
PROFILE = os.path.join(SOURCES, "profiles", "six-speed-20-pin.json")
LIMIT_S = 0.2
PULSE_S = 0.06
WAYS = ["kill -9", "Ctrl-C", "SIGTERM", "link lost", "garbage", "full disk", "guardian killed"]
WORKERS = 5
SHARE = (TRIALS + WORKERS - 1) // WORKERS  # of each worker


class Between:
    """Stands between the program and the supply: can cut the link or spoil replies."""

    def __init__(self, port):
        self.port = port
        self.spoil = False
        self.pairs = []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = "tcp://127.0.0.1:%d" % self.listener.getsockname()[1]
        threading.Thread(target=self.serve, daemon=True).start()

    def serve(self):
        while True:
            client, _ = self.listener.accept()
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            try:
                server = socket.create_connection(("127.0.0.1", self.port))
            except OSError:  # the bench has been ended
                client.close()
                return
            server.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.pairs.append((client, server))
            threading.Thread(target=self.carry, args=(client, server), daemon=True).start()

    def carry(self, client, server):
        try:
            while True:
                for ready in select.select([client, server], [], [])[0]:
                    data = ready.recv(65536)
                    if not data:
                        return
                    if ready is client:
                        server.sendall(data)
                    else:
                        client.sendall(b"#?\xff\n" if self.spoil else data)
        except (OSError, ValueError):
            pass
        finally:
            client.close()
            server.close()

    def cut(self):
        for pair in self.pairs:
            for end in pair:
                try:
                    end.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass
        self.pairs.clear()


class Account:
    """The simulator's own account, followed as it grows."""

    def __init__(self, path):
        self.file = open(path)
        self.events = []

    def follow(self):
        while True:
            where = self.file.tell()
            line = self.file.readline()
            if not line.endswith("\n"):
                self.file.seek(where)
                return self.events
            self.events.append(json.loads(line))

    def on(self):
        self.follow()
        return bool(self.events) and self.events[-1]["output"] == "on"


def guardian_of(pid):
    with open("/proc/%d/task/%d/children" % (pid, pid)) as f:
        children = f.read().split()
    return int(children[0]) if children else None


def trial(bench, account, between, way, rng, folder):
    """The delay of the switch-off in seconds, or None where the pulse was missed."""
    pulse = rng.randint(1, 8)
    instant = rng.uniform(0, PULSE_S)
    dialogue = os.path.join(folder, "dialogue")
    command = [PROGRAM, "inspect", "--profile", PROFILE, "--bench", bench,
               "--record", os.path.join(folder, "record.json")]
    most = rng.randint(205_000, 290_000)  # bytes: somewhere in the driven part

    def limit():
        if way == "full disk":
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    if way == "full disk":
        command += ["--record-dialogue", dialogue]
    before = len(account.follow())
    between.spoil = False
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                               stdin=subprocess.DEVNULL, start_new_session=True,
                               preexec_fn=limit)
    at = None
    while process.poll() is None and way != "full disk":
        ons = sum(1 for e in account.follow()[before:] if e["output"] == "on")
        if ons >= pulse and account.on():
            on_at = account.events[-1]["wall_s"]
            time.sleep(max(0, on_at + instant - time.monotonic()))
            at = time.monotonic()
            if way == "kill -9":
                process.kill()
            elif way == "Ctrl-C":
                os.killpg(process.pid, signal.SIGINT)
            elif way == "SIGTERM":
                process.terminate()
            elif way == "link lost":
                between.cut()
            elif way == "garbage":
                between.spoil = True
            elif way == "guardian killed":
                os.kill(guardian_of(process.pid), signal.SIGKILL)
            break
        time.sleep(0.001)
    process.wait(60)
    end = time.monotonic() + 2
    while account.on() and time.monotonic() < end:
        time.sleep(0.005)
    mine = account.events[before:]
    for event in mine:
        for coil in event.get("coils", []):
            if coil["energy_J"] > coil["budget_J"]:
                return "coil %s got %.2f J of %.2f J" % (coil["name"], coil["energy_J"],
                                                         coil["budget_J"])
    if account.on():
        return "the output stays on"
    if way == "full disk":
        # Hit in mid-pulse where the last pulse was shorter or longer than it should be.
        offs = [e for e in mine if e["output"] == "off"]
        if process.returncode != 4 or not offs:
            return None
        return max(0.0, max(e["on_s"] for e in offs) - PULSE_S)
    if at is None:
        return None
    off = [e["wall_s"] for e in mine if e["output"] == "off" and e["wall_s"] >= at]
    return (off[0] - at) if off else 0.0  # off already when it came


def worker(number):
    rng = random.Random(1000 + number)
    out = []
    with tempfile.TemporaryDirectory() as folder:
        bench = os.path.join(folder, "bench.json")
        path = os.path.join(folder, "account")
        simulate = subprocess.Popen(
            [PROGRAM, "simulate", "--profile", PROFILE, "--seed", "7", "--speed", "0",
             "--dialect", "supply=scpi-supply-plain", "--bench-file", bench, "--account", path],
            stdout=subprocess.DEVNULL)
        while not os.path.exists(bench):
            time.sleep(0.02)
        with open(bench) as f:
            description = json.load(f)
        supply = next(i for i in description["instruments"] if i["role"] == "supply")
        between = Between(int(supply["address"].rsplit(":", 1)[1]))
        supply["address"] = between.address
        with open(bench, "w") as f:
            json.dump(description, f)
        account = Account(path)
        for i in range(number * SHARE, (number + 1) * SHARE):  # together they go round all ways
            way, delay = WAYS[i % len(WAYS)], None
            while delay is None:
                delay = trial(bench, account, between, way, rng, folder)
            out.append((way, delay))
        simulate.kill()
        simulate.wait()
    return out


with multiprocessing.Pool(WORKERS) as pool:
    results = sum(pool.map(worker, range(WORKERS)), [])
bad = 0
print("%-16s %6s %10s %10s" % ("way out", "trials", "median ms", "worst ms"))
for way in WAYS:
    delays = [d for w, d in results if w == way]
    wrong = [d for d in delays if isinstance(d, str) or d > LIMIT_S]
    numbers = sorted(d for d in delays if not isinstance(d, str))
    bad += len(wrong)
    middle, worst = (numbers[len(numbers) // 2], numbers[-1]) if numbers else (float("nan"),) * 2
    print("%-16s %6d %10.1f %10.1f  %s" % (way, len(delays), 1000 * middle, 1000 * worst, wrong or ""))
untried = [way for way in WAYS if all(w != way for w, _ in results)]
if untried:
    print("not tried: " + ", ".join(untried))
print("%d trials, %d with the output on for more than %d ms or a coil over its budget" %
      (len(results), bad, 1000 * LIMIT_S))
sys.exit(1 if bad or len(results) < TRIALS or (untried and TRIALS >= len(WAYS)) else 0)
