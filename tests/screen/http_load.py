"""All at once: fifty watchers, a stalled one, half-open connections and a thousand malformed
requests. The watchers must have every message, and soon; the server must stay small."""
import multiprocessing
import random
import selectors
import socket
import struct
import time

from http_client import SEED, SLOW, Host, Watcher, check, in_order, is_closed, read_reply

SO_TIMESTAMPNS = 35  # Linux
REALTIME_AHEAD_ns = time.time_ns() - time.monotonic_ns()


def malformed(rng, name):
    """A request that is none, of one of many kinds."""
    good = ("POST /echo HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\n"
            "Content-Length: 20\r\n\r\n{\"a\":\"0123456789ab\"}" % name).encode()
    kind = rng.randrange(8)
    if kind == 0:
        return good[:rng.randrange(len(good))]
    if kind == 1:
        return rng.randbytes(rng.randrange(1, 3000))
    if kind == 2:
        return good[:20] + b"\r\nA: " + b"x" * rng.randrange(17000, 60000)
    if kind == 3:
        size = rng.choice([b"zz", b"-1", b"fffffffffffffffff", b"5;" + b"x" * 5000, b""])
        return good[:21] + b"Host: %s\r\nTransfer-Encoding: chunked\r\n\r\n%s\r\nabc" % (
            name.encode(), size)
    if kind == 4:
        return good.replace(b"HTTP/1.1", rng.choice([b"HTTP/9.9", b"HTTP/1.", b"HTP/1.1", b"",
                                                     b"HTTP/1.1\r", b"http/1.1"]))
    if kind == 5:
        extra = rng.choice([b"Content-Length: 3", b"Transfer-Encoding: chunked", b"Host: other",
                            b"Transfer-Encoding: identity, chunked", b"Content-Length: 0x14"])
        return good.replace(b"\r\n\r\n", b"\r\n" + extra + b"\r\n\r\n", 1)
    if kind == 6:
        return good.replace(b"/echo", rng.choice([b"/%", b"/%00", b"/\\", b"/../..", b"/%ff", b"*",
                                                  b"//", b"\xff", b"/a b"]), 1)
    spoilt = bytearray(good)
    for _ in range(rng.randrange(1, 6)):  # the first line only: no body is wrong
        spoilt[rng.randrange(19)] = rng.choice(b"\0\x01\n\r\x7f\xff")
    return bytes(spoilt)


def attack(address, name, seed, count, results):
    rng = random.Random(seed)
    statuses = {}
    for _ in range(count):
        try:
            with socket.create_connection(address, 10) as s:
                s.sendall(malformed(rng, name))
                s.shutdown(socket.SHUT_WR)
                status = read_reply(s)[0]
        except OSError:
            status = -1
        statuses[status] = statuses.get(status, 0) + 1
    results.put(statuses)


def start_attack(host, count, ways):
    results = multiprocessing.Queue()
    processes = [multiprocessing.Process(target=attack, args=(
        (host.address, host.port), host.name(), SEED + i, count // ways, results))
        for i in range(ways)]
    for process in processes:
        process.start()
    return processes, results


def receive(s):
    """-> bytes, and when the last of them came in at the socket: by the system's stamp, since this
    reader of fifty may come late itself."""
    more, extra, _, _ = s.recvmsg(262144, 64)
    for level, kind, data in extra:
        if (level, kind) == (socket.SOL_SOCKET, SO_TIMESTAMPNS):
            seconds, ns = struct.unpack("qq", data)
            return more, seconds * 10**9 + ns - REALTIME_AHEAD_ns
    return more, time.monotonic_ns()


def gather(selector, within_s, until):
    end = time.monotonic() + within_s
    while not until() and time.monotonic() < end:
        for key, _ in selector.select(0.02):
            more, at_ns = receive(key.fileobj)
            key.data.unread.append((more, at_ns))  # understood later: no time now
            if not more:
                key.data.closed = True
                selector.unregister(key.fileobj)


def bounce(end):
    while end.recv(1):
        end.send(b"x")


def yardstick(stop, lateness):
    """How late this machine is by itself, for want of processors: a byte to an idle process and back,
    which takes no time where there is one to spare."""
    near, far = socket.socketpair()
    other = multiprocessing.Process(target=bounce, args=(far,))
    other.start()
    late_ms = []
    while not stop.is_set():
        begin = time.monotonic()
        near.send(b"x")
        near.recv(1)
        late_ms.append((time.monotonic() - begin) * 1000)
        time.sleep(0.005)
    near.shutdown(socket.SHUT_WR)
    other.terminate()
    lateness.put(quantile(sorted(late_ms), 0.99))


def quantile(ordered, share):
    return ordered[int(len(ordered) * share)]


def emit_all(host, count):
    with host.connect() as s:
        for n in range(count):  # some with the size of a capture
            s.sendall(host.text(method="POST", target="/emit?bytes=%d" % (20000 * (n % 20 == 0))))
            read_reply(s)
            time.sleep(0.01 * SLOW)


def all_at_once():
    # The limit of requests has its own test; one client emits here, by requests.
    with Host(requests_per_s=1000, patience_s=300, stalled_reader_s=300) as host:
        before_MB = most_MB = host.rss_MB()
        selector = selectors.DefaultSelector()
        watchers = [Watcher(host) for _ in range(50)]
        for w in watchers:
            w.socket.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
            selector.register(w.socket, selectors.EVENT_READ, w)
        stalled = Watcher(host, receive_buffer=4096)
        half_open = [host.connect() for _ in range(40)]
        for s in half_open[::2]:
            s.sendall(b"GET / HTTP/1.1\r\nHost:")
        gather(selector, 5, lambda: all(len(w.understand().messages) >= 3 for w in watchers))
        stop, lateness = multiprocessing.Event(), multiprocessing.Queue()
        multiprocessing.Process(target=yardstick, args=(stop, lateness)).start()
        processes, results = start_attack(host, 1000, 2)
        emitter = multiprocessing.Process(target=emit_all, args=(host, 600))
        emitter.start()
        while emitter.is_alive() or any(p.is_alive() for p in processes):
            gather(selector, 0.2, lambda: False)
            most_MB = max(most_MB, host.rss_MB())
        stop.set()
        gather(selector, 10, lambda: all(len(w.understand().ids) == 600 for w in watchers))
        report(watchers, results, len(processes), before_MB, most_MB)
        soon(watchers, lateness.get())
        check("the stalled reader gets everything later", stalled.read(
            lambda w: len(w.ids) == 600) and in_order(stalled.ids), len(stalled.ids))
        check("the server still answers", host.ask()[0] == 200)
        check("half-open ones have their time", not is_closed(half_open[0], 0.1))
        end_ms = host.end()
        check("and it ends at once", end_ms is not None and end_ms < 1000 * SLOW, "%s ms" % end_ms)


def report(watchers, results, ways, before_MB, most_MB):
    statuses = {}
    for _ in range(ways):
        for status, n in results.get().items():
            statuses[status] = statuses.get(status, 0) + n
    expected = {0, 400, 411, 431, 405, 403, 415}
    check("1000 malformed requests are refused", sum(statuses.values()) == 1000 and
          set(statuses) <= expected and statuses.get(0, 0) < 100, dict(sorted(statuses.items())))
    check("50 watchers have every message once, in order", len(watchers) == 50 and
          all(in_order(w.ids) and len(w.ids) == 600 for w in watchers))
    check("memory is bounded", most_MB - before_MB < 30 * SLOW, "%.1f MB + %.1f MB" % (
        before_MB, most_MB - before_MB))


def soon(watchers, machine_ms):
    late_ms = sorted(ns / 1e6 for w in watchers for ns in w.late_ns)
    p50, p99 = quantile(late_ms, 0.5), quantile(late_ms, 0.99)
    check("the watchers have it soon", p99 < (100 + 2 * machine_ms) * SLOW,
          "%d receipts, p50 %.2f ms, p99 %.2f ms, max %.1f ms (p99 of the machine itself %.1f ms)"
          % (len(late_ms), p50, p99, late_ms[-1], machine_ms))
