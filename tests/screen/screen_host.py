"""`pinproof screen` and `pinproof simulate` as processes, and what a person does with them over
HTTP. Shared by the tests of the whole screen."""
import json
import multiprocessing
import os
import resource
import select
import socket
import subprocess
import sys
import time

import http_client
from http_client import PROGRAM, SLOW, Host, Watcher, check

SOURCES = sys.argv[2]
PROFILE = "six-speed-20-pin"
PULSE_S = 0.06  # what inspect sets for this profile
ME, OTHER = "me-0123456789abcdef", "other-0123456789abcdef"


def environment(folder, traced=False):
    kept = {k: v for k, v in os.environ.items() if k != "PINPROOF_LEDGER"}
    if traced and SLOW > 1:  # the leak checker is a tracer itself, and there can be but one
        kept["ASAN_OPTIONS"] = "detect_leaks=0"
    return dict(kept, XDG_DATA_HOME=os.path.join(folder, "data"))


class Bench:
    """A simulated one. Where it is `plain`, its supply only has an output switch, so that the
    program under test, not the supply, times each pulse."""

    def __init__(self, folder, name="bench", speed="0", connect="matrix", plain=True):
        self.file = os.path.join(folder, name + ".json")
        self.account = os.path.join(folder, name + ".account")
        self.process = subprocess.Popen(
            [PROGRAM, "simulate", "--profile", PROFILE, "--seed", "7", "--speed", speed,
             "--connect", connect, "--bench-file", self.file, "--account", self.account] +
            (["--dialect", "supply=scpi-supply-plain"] if plain else []), stdout=subprocess.DEVNULL)
        end = time.monotonic() + 20 * SLOW
        while not os.path.exists(self.file) and time.monotonic() < end:
            time.sleep(0.01)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()

    def events(self):
        with open(self.account) as f:
            return [json.loads(line) for line in f.read().split("\n")[:-1]]

    def pulses(self, since=0):
        return [e for e in self.events()[since:] if e["output"] == "off"]

    def is_on(self):
        events = self.events()
        return bool(events) and events[-1]["output"] == "on"

    def wait_on(self, pulse, within_s=10):
        """Until the output goes on for so many a time from now on -> whether it did."""
        before = len(self.events())
        end = time.monotonic() + within_s * SLOW
        while time.monotonic() < end:
            events = self.events()
            if sum(e["output"] == "on" for e in events[before:]) >= pulse and \
                    events[-1]["output"] == "on":
                return True
            time.sleep(0.001)
        return False

    def off_after(self, at_s, within_s=3):
        """Seconds from then until the output was off for good; None where it stays on."""
        time.sleep(0.3)
        end = time.monotonic() + within_s
        while self.is_on() and time.monotonic() < end:
            time.sleep(0.01)
        if self.is_on():
            return None
        return max([e["wall_s"] - at_s for e in self.pulses()] + [0.0])

    def through(self, proxy, role):
        """A bench file beside this one, with one instrument behind a proxy."""
        with open(self.file) as f:
            description = json.load(f)
        one = next(i for i in description["instruments"] if i["role"] == role)
        one["address"] = proxy(int(one["address"].rsplit(":", 1)[1]))
        path = self.file.replace(".json", "-%s.json" % role)
        with open(path, "w") as f:
            json.dump(description, f)
        return path


def over_budget(pulses):
    return [(c["name"], c["energy_J"]) for e in pulses for c in e["coils"]
            if c["energy_J"] > c["budget_J"]]


class Screen(Host):
    """The program; `post` and `run` are what its page does."""

    def __init__(self, folder, bench, ledger="ledger.sqlite", listen="127.0.0.1", before=(),
                 most_bytes=None):
        self.bench = os.path.basename(bench)[:-5]
        self.ledger = ledger if ledger == "none" else os.path.join(folder, ledger)
        self.errors = open(os.path.join(folder, "screen.err"), "ab+")

        def limit():
            if most_bytes:
                resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

        self.process = subprocess.Popen(
            [*before, PROGRAM, "screen", "--port", "0", "--json", "--listen", listen, "--ledger",
             self.ledger, "--profile", PROFILE, "--bench", bench], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=self.errors, text=True,
            env=environment(folder, traced=before and "strace" in before[0]),
            preexec_fn=limit)
        self.url = json.loads(self.process.stdout.readline())["url"]
        self.port = int(self.url.split(":")[2].split("/")[0])
        self.address = "127.0.0.1" if listen in ("0.0.0.0", "127.0.0.1") else listen
        self.cookie, self.token = "", ""

    def __exit__(self, *_):
        self.end()

    def end(self):
        self.process.terminate()
        said, _ = self.process.communicate(timeout=30)
        check("the screen ends cleanly", self.process.returncode == 0, self.process.returncode or "")
        self.errors.seek(0)
        return said + self.errors.read().decode("utf-8", "replace")

    def kill(self):
        self.process.kill()
        self.process.communicate()

    def counts(self):
        """-> MB, threads, file handles."""
        with open("/proc/%d/status" % self.process.pid) as f:
            fields = dict(line.split(":", 1) for line in f)
        handles = len(os.listdir("/proc/%d/fd" % self.process.pid))
        return int(fields["VmRSS"].split()[0]) / 1024, int(fields["Threads"]), handles

    def settled(self, threads, handles, within_s=20):
        """Counts once no more than so many are there, or at last."""
        end = time.monotonic() + within_s * SLOW
        while time.monotonic() < end:
            now = self.counts()
            if now[1] <= threads and now[2] <= handles:
                return now
            time.sleep(0.2)
        return self.counts()

    def patiently(self, **request):
        """Asks again where there were too many requests."""
        while True:
            reply = self.ask(**request)
            if reply[0] != 429:
                return reply
            time.sleep(0.05)

    def get(self, target, *headers):
        if self.cookie:
            headers += ("Cookie: " + self.cookie,)
        return self.patiently(target=target, headers=headers)

    def post(self, path, body, token=None, headers=()):
        """-> status, what the JSON body says (None where it is none)."""
        token = self.token if token is None else token
        extra = list(headers) + (["X-Pinproof-Driver: " + token] if token else [])
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        status, _, text, _ = self.patiently(method="POST", target=path, headers=extra, body=raw)
        try:
            return status, json.loads(text)
        except ValueError:
            return status, None

    def drive(self, screen=ME, take_over=True):
        status, said = self.post("/drive", {"screen": screen, "take_over": take_over})
        if status == 200:
            self.token = said["driver"]
        return status

    def wish(self, serial, **more):
        return dict({"work": "inspect", "profile": PROFILE, "bench": self.bench, "serial": serial,
                     "lot": "L1", "note": "", "level": "full", "resume": "no"}, **more)

    def start(self, serial, **more):
        return self.post("/start", self.wish(serial, **more))

    def idle(self, within_s=30):
        """Whether nothing is measured any more."""
        w = watch(self)
        idle = w.read(lambda w: phase(w) == "idle", within_s)
        w.socket.close()
        return idle

    def run(self, serial, within_s=40, meanwhile=None, **more):
        """A whole inspection -> (status of start, last message of it, what watched)."""
        watcher = watch(self)
        known = len(watcher.messages)
        status, said = self.start(serial, **more)
        if status != 200:
            watcher.socket.close()
            return status, said, watcher
        if meanwhile:
            meanwhile()
        ends = {"verdict", "failed"}
        watcher.read(lambda w: ends & after_reset(w, known) and phase(w) == "idle", within_s)
        watcher.socket.close()
        found = [json.loads(m[1]) for m in watcher.messages[known:] if m[0] in ends]
        return status, found[-1] if found else None, watcher


MACHINE = "the pulse was not ended in time"  # by a machine that stalls: the guardian's word


def accepted(screen, serial, tries=4, **more):
    """A good pack is accepted, sooner or later on a machine with too much to do -> the verdict, the
    watcher."""
    for k in range(tries):
        status, said, watcher = screen.run(serial + "-%d" % k, **more)
        why = str(said)
        if status == 200 and said and said.get("verdict") == "accept" or MACHINE not in why:
            return said or {}, watcher
    return said or {}, watcher


def after_reset(watcher, known):
    """The names of what came since a run began, beyond so many messages."""
    names = watcher.names()[known:]
    return set(names[names.index("reset"):]) if "reset" in names else set()


class Stream(Watcher):
    """A watcher of the real screen: by any id, with any headers."""

    def __init__(self, screen, headers=(), who="0123456789abcdef", receive_buffer=None):
        self.socket = screen.connect(receive_buffer=receive_buffer)
        self.socket.sendall(screen.text(target="/events?screen=" + who, headers=headers))
        self.data, self.head, self.closed = b"", None, False
        self.messages, self.ids, self.unread = [], [], []

    def feed(self, more, now_ns):
        self.data += more
        if self.head is None:
            if b"\r\n\r\n" not in self.data:
                return
            self.head, self.data = self.data.split(b"\r\n\r\n", 1)
        *whole, self.data = self.data.split(b"\n\n")
        for block in whole:
            fields = dict(line.split(b": ", 1) for line in block.split(b"\n") if line[:1] != b":")
            self.messages.append((fields.get(b"event", b"").decode(),
                                  fields.get(b"data", b"").decode(), block))
            if b"id" in fields:
                self.ids.append(fields[b"id"].decode())


def watch(screen):
    """A stream that has begun; again where there were too many requests."""
    for _ in range(30):
        stream = Stream(screen)
        refused = lambda w: w.head is not None and b" 200 " not in w.head[:20]
        stream.read(lambda w: "state" in w.names() or refused(w), 10)
        if not refused(stream) and not stream.closed:
            return stream
        stream.socket.close()
        time.sleep(0.2)
    return stream


def newest(watcher, name):
    found = [m[1] for m in watcher.messages if m[0] == name]
    return json.loads(found[-1]) if found else None


def phase(watcher):
    return (newest(watcher, "state") or {}).get("phase")


class Proxy:
    """Between the program and an instrument, in a process of its own; notes when the replies to a
    reading passed, and can be cut."""

    def __init__(self):
        self.times = multiprocessing.Queue()
        self.process = None

    def __call__(self, port):
        listener = socket.create_server(("127.0.0.1", 0))
        self.process = multiprocessing.Process(target=self.serve, args=(listener, port),
                                               daemon=True)
        self.process.start()
        address = "tcp://127.0.0.1:%d" % listener.getsockname()[1]
        listener.close()
        return address

    def serve(self, listener, port):
        while True:
            client, _ = listener.accept()
            server = socket.create_connection(("127.0.0.1", port))
            for s in (client, server):
                s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.carry(client, server)

    def carry(self, client, server):
        asked, times = b"", []
        while True:
            for ready in select.select([client, server], [], [])[0]:
                data = ready.recv(65536)
                if not data:
                    client.close()
                    server.close()
                    self.times.put(times)
                    return
                if ready is client:
                    asked = data
                elif b"READ?" in asked or b"FETC" in asked or b"MEAS" in asked:
                    times.append(time.monotonic_ns())  # before it is handed on
                (server if ready is client else client).sendall(data)

    def cut(self):
        self.process.kill()
        self.process.join()


def failed():
    return http_client.failures
