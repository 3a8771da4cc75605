"""A host program of the live screen's server, and raw sockets to ask it and to watch its streams."""
import os
import socket
import subprocess
import sys
import time

PROGRAM = sys.argv[1]
SEED = 20
SLOW = float(os.environ.get("PINPROOF_TEST_SLOWER", "1"))  # an instrumented program is
failures = []


def check(what, good, detail=""):
    print(("ok    " if good else "FAIL  ") + what + (": " + str(detail) if detail != "" else ""),
          flush=True)
    if not good:
        failures.append(what)


class Host:
    def __init__(self, **options):
        words = [str(word) for pair in options.items() for word in pair]
        self.process = subprocess.Popen([PROGRAM] + words, stdin=subprocess.PIPE,
                                        stdout=subprocess.PIPE, text=True)
        self.port = int(self.process.stdout.readline())
        self.address = options.get("address", "127.0.0.1")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if not self.process.stdin.closed:
            self.end()

    def end(self):
        """-> milliseconds that the server took to end; None if it crashed."""
        self.process.stdin.close()
        text = self.process.stdout.read()
        code = self.process.wait(20)
        check("the program ends cleanly", code == 0, code if code else "")
        return int(text) if code == 0 else None

    def rss_MB(self):
        with open("/proc/%d/status" % self.process.pid) as status:
            return next(int(line.split()[1]) for line in status if line.startswith("VmRSS")) / 1024

    def connect(self, patience_s=10, receive_buffer=None):
        kind = socket.AF_INET6 if ":" in self.address else socket.AF_INET
        s = socket.socket(kind, socket.SOCK_STREAM)
        if receive_buffer:
            s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        s.settimeout(patience_s)
        s.connect((self.address, self.port))
        return s

    def name(self):
        return ("[%s]:%d" if ":" in self.address else "%s:%d") % (self.address, self.port)

    def text(self, method="GET", target="/echo", headers=(), body=b"", host=True):
        lines = ["%s %s HTTP/1.1" % (method, target)]
        if host:
            lines.append("Host: " + self.name())
        if method == "POST":
            lines += ["Content-Type: application/json", "Content-Length: %d" % len(body)]
        return ("\r\n".join(lines + list(headers)) + "\r\n\r\n").encode("latin-1") + body

    def ask(self, raw=None, **request):
        """One request on a connection of its own -> (status, headers, body)."""
        with self.connect() as s:
            s.sendall(raw if raw is not None else self.text(**request))
            return read_reply(s)


def read_reply(s, rest=b"", bodiless=False):
    """-> (status, headers, body, what came beyond); status 0 where it was closed without one."""
    data = rest
    try:
        while b"\r\n\r\n" not in data:
            more = s.recv(65536)
            if not more:
                return 0, {}, data, b""
            data += more
        head, data = data.split(b"\r\n\r\n", 1)
        lines = head.decode("latin-1").split("\r\n")
        headers = {k.lower(): v for k, v in (line.split(": ", 1) for line in lines[1:])}
        wanted = 0 if bodiless else int(headers.get("content-length", 0))
        while len(data) < wanted:
            more = s.recv(65536)
            if not more:
                break
            data += more
        return int(lines[0].split()[1]), headers, data[:wanted], data[wanted:]
    except (ConnectionError, socket.timeout):
        return 0, {}, b"", b""


def is_closed(s, within_s=5):
    s.settimeout(within_s)
    try:
        while s.recv(65536):
            pass
        return True
    except socket.timeout:
        return False
    except ConnectionError:
        return True


class Watcher:
    """Reads a stream; keeps what it said."""

    def __init__(self, host, last=None, receive_buffer=None):
        self.socket = host.connect(receive_buffer=receive_buffer)
        headers = ["Last-Event-ID: " + last] if last else []
        self.socket.sendall(host.text(target="/events?screen=0123456789abcdef", headers=headers))
        self.data, self.head, self.closed = b"", None, False
        self.messages, self.ids, self.late_ns, self.unread = [], [], [], []

    def feed(self, more, now_ns):
        self.data += more
        if self.head is None:
            if b"\r\n\r\n" not in self.data:
                return
            self.head, self.data = self.data.split(b"\r\n\r\n", 1)
        *whole, self.data = self.data.split(b"\n\n")
        for block in whole:
            fields = dict(line.split(b": ", 1) for line in block.split(b"\n") if line[:1] != b":")
            name = fields.get(b"event", b"").decode()
            self.messages.append((name, fields.get(b"data", b"").decode(), block))
            if b"id" in fields:
                self.ids.append(fields[b"id"].decode())
            if name == "said":
                self.late_ns.append(now_ns - int(fields[b"data"][9:fields[b"data"].index(b",")]))

    def understand(self):
        unread, self.unread = self.unread, []
        for more, now_ns in unread:
            self.feed(more, now_ns)
        return self

    def read(self, until, within_s=10):
        end = time.monotonic() + within_s * SLOW
        while not until(self) and not self.closed and time.monotonic() < end:
            self.socket.settimeout(0.05)
            try:
                more = self.socket.recv(65536)
                self.closed = not more
                self.feed(more, time.monotonic_ns())
            except socket.timeout:
                pass
            except ConnectionError:
                self.closed = True
        return until(self)

    def names(self):
        return [message[0] for message in self.messages]


def emit(host, count=1, size=0):
    return host.ask(method="POST", target="/emit?count=%d&bytes=%d" % (count, size))[0] == 200


def in_order(ids, first=0):
    return [int(i.rsplit("-", 1)[1]) for i in ids] == list(range(first, first + len(ids)))
