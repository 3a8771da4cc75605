"""The live screen's server over raw sockets: what it must answer and refuse by RFC 9110 and 9112,
its streams (https://html.spec.whatwg.org/#server-sent-events), and what it must bear: slow readers,
half-open connections, garbage and a full house, all at once, while watchers get every message soon.
Usage: http_test.py HOST_PROGRAM"""
import json
import os
import random
import socket
import subprocess
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from http_client import (PROGRAM, SEED, SLOW, Host, Watcher, check, emit, failures, in_order, is_closed,
                         read_reply)
from http_load import all_at_once


# ---- What is answered

def answers():
    with Host() as host:
        status, headers, body, _ = host.ask(target="/a%20b?x=%C3%BC&y=1+2")
        check("GET", status == 200 and json.loads(body) == {
            "method": "GET", "path": "/a b", "query": {"x": "ü", "y": "1 2"}, "body": ""})
        check("headers of safety", headers["x-content-type-options"] == "nosniff" and
              headers["cache-control"] == "no-store" and "default-src 'none'" in
              headers["content-security-policy"])
        status, _, body, _ = host.ask(method="POST", body='{"a":"é"}'.encode())
        check("POST", status == 200 and json.loads(body)["body"] == '{"a":"é"}')
        with host.connect() as s:
            s.sendall(host.text(method="HEAD"))
            status, headers, _, rest = read_reply(s, bodiless=True)
            check("HEAD has the length but no body", status == 200 and rest == b"" and
                  int(headers["content-length"]) > 20)
            s.sendall(host.text(target="/after"))
            check("and the connection goes on", b"/after" in read_reply(s)[2])
            s.sendall(b"".join(host.text(target="/n%d" % i) for i in range(20)))
            rest, paths = b"", []
            for _ in range(20):
                _, _, body, rest = read_reply(s, rest)
                paths.append(json.loads(body)["path"])
            check("pipelined requests, in order", paths == ["/n%d" % i for i in range(20)])
        for path in ("/throw", "/throw-odd"):
            status, _, body, _ = host.ask(target=path)
            check("a handler that throws: " + path, status == 500 and "error" in json.loads(body))
        _, headers, body, _ = host.ask(target="/big?bytes=1000000")
        check("a large answer", body == b"x" * 1000000)
        with host.connect() as s:
            s.sendall(host.text(method="HEAD", target="/events"))
            status, headers, _, _ = read_reply(s)
            check("HEAD of a stream ends", status == 200 and is_closed(s) and
                  headers["content-type"] == "text/event-stream")
        raw = host.text(method="POST", headers=["Expect: 100-continue"], body=b"{}")
        with host.connect() as s:
            s.sendall(raw[:-2])
            first = read_reply(s)[0]
            s.sendall(raw[-2:])
            check("Expect: 100-continue", (first, read_reply(s)[0]) == (100, 200))
        check("HTTP/1.0", host.ask(raw=host.text().replace(b"HTTP/1.1", b"HTTP/1.0"))[0] == 200)
        with host.connect() as s:
            s.sendall(host.text(headers=["Connection: close"]))
            check("Connection: close", read_reply(s)[0] == 200 and is_closed(s))
        with host.connect() as s:
            begin = time.monotonic()
            for _ in range(50):
                s.sendall(host.text())
                read_reply(s)
            took_ms = (time.monotonic() - begin) / 50 * 1000
            check("a round trip", took_ms < 20 * SLOW, "%.2f ms" % took_ms)
        end_ms = host.end()
        check("ends at once", end_ms is not None and end_ms < 1000, "%s ms" % end_ms)


REFUSED = [
    (400, "bad escape", "GET /%zz HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "NUL", "GET /%00 HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "backslash", "GET /a\\b HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "climbing", "GET /a/%2e%2e/b HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "not UTF-8", "GET /%C3%28 HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "not UTF-8 in the query", "GET /?a=%FF HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "two slashes", "GET //elsewhere/ HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "no Host", "GET / HTTP/1.1\r\n\r\n"),
    (400, "two Hosts", "GET / HTTP/1.1\r\nHost: H\r\nHost: H\r\n\r\n"),
    (400, "another authority", "GET http://elsewhere/ HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "CONNECT", "CONNECT elsewhere:80 HTTP/1.1\r\nHost: H\r\n\r\n"),
    (400, "two lengths", "POST /echo HTTP/1.1\r\nHost: H\r\nContent-Length: 2\r\n"
     "Content-Length: 2\r\n\r\n{}"),
    (400, "a list of lengths", "POST /echo HTTP/1.1\r\nHost: H\r\nContent-Length: 2, 2\r\n\r\n{}"),
    (400, "a signed length", "POST /echo HTTP/1.1\r\nHost: H\r\nContent-Length: +2\r\n\r\n{}"),
    (400, "length and chunks", "POST /echo HTTP/1.1\r\nHost: H\r\nContent-Length: 5\r\n"
     "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n"),
    (400, "chunks and length", "POST /echo HTTP/1.1\r\nHost: H\r\nTransfer-Encoding: chunked\r\n"
     "Content-Length: 5\r\n\r\n0\r\n\r\n"),
    (400, "odd encoding and length", "POST /echo HTTP/1.1\r\nHost: H\r\nTransfer-Encoding: xchunked"
     "\r\nContent-Length: 5\r\n\r\n0\r\n\r\n"),
    (411, "chunks", "POST /echo HTTP/1.1\r\nHost: H\r\nTransfer-Encoding: chunked\r\n\r\n"
     "2\r\n{}\r\n0\r\n\r\n"),
    (400, "a space before the colon", "GET / HTTP/1.1\r\nHost: H\r\nContent-Length : 2\r\n\r\n{}"),
    (400, "bare line feeds", "GET / HTTP/1.1\nHost: H\n\n\r\n\r\n"),
    (400, "a field without name", "GET / HTTP/1.1\r\nHost: H\r\n: x\r\n\r\n"),
    (400, "a NUL in a field", "GET / HTTP/1.1\r\nHost: H\r\nA: \0\r\n\r\n"),
    (400, "version 2", "GET / HTTP/2.0\r\nHost: H\r\n\r\n"),
    (400, "no version", "GET /\r\n\r\n"),
    (400, "TLS", "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n\r\n"),
    (417, "another expectation", "GET / HTTP/1.1\r\nHost: H\r\nExpect: tea\r\n\r\n"),
    (431, "a huge field", "GET / HTTP/1.1\r\nHost: H\r\nA: " + "x" * 20000 + "\r\n\r\n"),
    (431, "a huge target", "GET /" + "x" * 20000),
    (413, "a huge body", "POST /echo HTTP/1.1\r\nHost: H\r\nContent-Length: 70000\r\n\r\n" +
     "x" * 70000),
    (413, "the promise of one", "POST /echo HTTP/1.1\r\nHost: H\r\nExpect: 100-continue\r\n"
     "Content-Length: 99999999999\r\n\r\n"),
    (405, "OPTIONS", "OPTIONS * HTTP/1.1\r\nHost: H\r\nConnection: close\r\n\r\n"),
    (403, "a Host that is not ours", "GET / HTTP/1.1\r\nHost: elsewhere\r\n"
     "Connection: close\r\n\r\n"),
]


def refusals():
    with Host() as host:
        for wanted, what, text in REFUSED:
            raw = text.replace("Host: H", "Host: " + host.name()).encode("latin-1")
            with host.connect() as s:
                s.sendall(raw + b"GET /smuggled HTTP/1.1\r\nHost: x\r\n\r\n" * (wanted != 431))
                status, headers, body, rest = read_reply(s)
                error = json.loads(body).get("error") if body else None
                good = status == wanted and error and rest == b"" and is_closed(s)
                check("%d %s" % (wanted, what), good, "" if good else (status, body, rest))


def gate_over_http():
    with Host(key="k" * 32) as host:
        status, headers, body, _ = host.ask()
        check("without the key", status == 403 and b"?key=" in body)
        status, headers, _, _ = host.ask(target="/echo?key=" + "k" * 32 + "&a=b")
        cookie = headers.get("set-cookie", "").split(";")[0]
        check("the key becomes a cookie", status == 303 and headers["location"] == "/echo?a=b")
        check("which opens", host.ask(headers=["Cookie: " + cookie])[0] == 200)
    with Host(address="::1") as host:
        check("IPv6", host.ask()[0] == 200)
    with Host() as host:
        again = subprocess.run([PROGRAM, "port", str(host.port)], capture_output=True, text=True)
        check("a port that is taken", again.returncode == 3 and "taken" in again.stderr,
              again.stderr.strip())
        again = subprocess.run([PROGRAM, "address", "192.0.2.1"], capture_output=True, text=True)
        check("an address of elsewhere", again.returncode == 3 and "192.0.2.1" in again.stderr)


# ---- Time and number

def limits():
    with Host(patience_s=1, requests_per_s=20) as host:
        begin = time.monotonic()
        silent = [host.connect() for _ in range(20)]
        dripping = host.connect()
        half = host.connect()
        half.sendall(host.text(method="POST", body=b"x" * 1000)[:-500])
        try:
            for byte in host.text(headers=["A: " + "x" * 200]):
                dripping.sendall(bytes([byte]))
                time.sleep(0.05)
            dripped = True
        except ConnectionError:
            dripped = False
        took_s = time.monotonic() - begin
        check("a header byte by byte is cut off", not dripped and took_s < 4 * SLOW, "%.1f s" % took_s)
        check("half a body", read_reply(half)[0] == 408 and is_closed(half))
        check("silent connections are closed", all(is_closed(s) for s in silent))
        statuses = []
        with host.connect() as s:
            for _ in range(60):
                s.sendall(host.text())
                statuses.append(read_reply(s))
        refused = [reply for reply in statuses if reply[0] == 429]
        check("429 after the burst", 10 <= len(refused) < 30 and statuses[0][0] == 200 and
              all(int(reply[1]["retry-after"]) >= 1 for reply in refused), len(refused))
        check("POST /stop all the same", [host.ask(method="POST", target="/stop")[0]
                                          for _ in range(100)] == [200] * 100)
        time.sleep(0.5)
        check("and again later", host.ask()[0] == 200)


def full_house():
    with Host(most_connections=30, most_streams=20, patience_s=20) as host:
        watchers = [Watcher(host) for _ in range(25)]
        for w in watchers:
            w.read(lambda w: w.head is not None or w.closed)
        heads = [w.head or b"" for w in watchers]
        check("streams beyond the most", sum(b" 200 " in h for h in heads) == 20 and
              sum(b" 503 " in h for h in heads) == 5)
        check("leave room for requests", host.ask()[0] == 200)
        for w in watchers[20:]:
            w.socket.close()
        kept = [host.connect() for _ in range(10)]
        for s in kept[:3]:
            s.sendall(host.text())
            read_reply(s)
        check("idle connections make room", host.ask()[0] == 200)
        more = [host.connect() for _ in range(60)]
        check("beyond: 503", [host.ask()[0] for _ in range(3)] == [503] * 3)
        begin = time.monotonic()
        stops = [host.ask(method="POST", target="/stop") for _ in range(20)]
        worst_ms = (time.monotonic() - begin) / 20 * 1000
        check("POST /stop in a full house", all(r[0] == 200 for r in stops), "%.1f ms" % worst_ms)
        check("the watchers stay", not any(w.closed for w in watchers[:20]) and
              host.ask(method="POST", target="/stop")[0] == 200)
        for s in kept + more:
            s.close()
        time.sleep(0.3)
        slow = [host.connect() for _ in range(4)]
        for s in slow:
            s.sendall(host.text(target="/slow?ms=1500"))
        time.sleep(0.1)
        begin = time.monotonic()
        stopped = host.ask(method="POST", target="/stop")[0] == 200
        took_ms = (time.monotonic() - begin) * 1000
        check("POST /stop while all workers are busy", stopped and took_ms < 500 * SLOW,
              "%.1f ms" % took_ms)
        time.sleep(0.1)


def ends_with_all_kinds():
    host = Host()
    stalled = Watcher(host, receive_buffer=4096)
    emit(host, 300, 10000)
    idle, half, slow = host.connect(), host.connect(), host.connect()
    half.sendall(b"GET / HT")
    slow.sendall(host.text(target="/slow?ms=600"))
    time.sleep(0.3)
    end_ms = host.end()
    check("the end with a stalled reader and a handler at work", end_ms is not None and
          end_ms < 1000 * SLOW, "%s ms" % end_ms)
    check("closes all", all(is_closed(s) for s in (idle, half, slow, stalled.socket)))


# ---- Streams

def streams():
    with Host(heartbeat_s=0.2, stalled_reader_s=2) as host:
        emit(host, 5)
        watcher = Watcher(host)
        check("a stream begins with the log", watcher.read(lambda w: len(w.ids) == 5))
        head = watcher.head.decode().lower()
        check("headers of a stream", all(line in head for line in (
            "content-type: text/event-stream", "cache-control: no-store", "x-accel-buffering: no")))
        check("first the time to come back, then reset", watcher.messages[0][2] == b"retry: 500" and
              watcher.names()[1] == "reset")
        check("the listener is told", watcher.read(
            lambda w: ("state", '{"watchers":1}') in [m[:2] for m in w.messages]))
        check("signs of life", watcher.read(lambda w: w.names().count("beat") >= 2, 3))
        watcher.socket.close()
        other = Watcher(host)
        check("a reader who hangs up is noticed", other.read(lambda w: w.messages and [
            m[1] for m in w.messages if m[0] == "state"][-1:] == ['{"watchers":1}'], 2))
        other.socket.close()
        slow_reader(host, resume(host))
        stalled_reader(host)
        reader = Watcher(host)
        reader.read(lambda w: "beat" in w.names())
        host.ask(method="POST", target="/begin")
        check("a new run", reader.read(lambda w: w.names().count("reset") == 2))


def resume(host):
    """Cut again and again, at any byte: what was had before and what comes after is the whole."""
    rng = random.Random(SEED)
    whole, last, resets = [], None, 0
    for _ in range(30):
        emit(host, rng.randrange(1, 8), rng.randrange(2000))
        watcher = Watcher(host, last)
        had = len(watcher.ids)
        wanted = rng.randrange(1, 6)
        watcher.read(lambda w: len(w.ids) - had >= wanted or "beat" in w.names())
        watcher.socket.close()
        resets += "reset" in watcher.names()
        whole += watcher.ids
        last = whole[-1] if whole else None
    watcher = Watcher(host, last)
    watcher.read(lambda w: "beat" in w.names())
    whole += watcher.ids
    check("resumed 30 times without loss or doubles", in_order(whole) and len(whole) > 60 and
          resets == 1, "%d messages, %d reset" % (len(whole), resets))
    return len(whole)


def slow_reader(host, there):
    """A reader who takes little, but always something, stays and gets everything."""
    before = host.rss_MB()
    watcher = Watcher(host, receive_buffer=8192)
    watcher.read(lambda w: w.ids)
    begin = time.monotonic()
    for _ in range(4):
        emit(host, 100, 2000)
    while time.monotonic() - begin < 3.5:  # well beyond the patience with one who takes nothing
        watcher.feed(watcher.socket.recv(4096), time.monotonic_ns())
        time.sleep(0.02)
    behind = there + 400 - len(watcher.ids)
    got = watcher.read(lambda w: len(w.ids) == there + 400)
    check("a slow reader stays and gets everything", got and behind > 0 and in_order(watcher.ids),
          "%d of %d were behind" % (behind, len(watcher.ids)))
    print("      memory while it was behind: %+.1f MB" % (host.rss_MB() - before))
    watcher.socket.close()


def stalled_reader(host):
    """A reader who takes nothing is let go, and loses nothing by it."""
    watcher = Watcher(host, receive_buffer=4096)
    watcher.read(lambda w: "state" in w.names())
    had = len(watcher.ids)
    for _ in range(4):
        emit(host, 100, 4000)
    time.sleep(3.5)
    watcher.read(lambda w: w.closed)
    check("a reader who takes nothing is let go", watcher.closed, "%d of %d taken" % (
        len(watcher.ids) - had, 400))
    again = Watcher(host, watcher.ids[-1])
    again.read(lambda w: "beat" in w.names())
    ids = watcher.ids + again.ids
    check("and comes back without loss", in_order(ids) and len(ids) >= had + 400)


if __name__ == "__main__":
    begin = time.monotonic()
    for part in (answers, refusals, gate_over_http, limits, full_house, ends_with_all_kinds, streams,
                 all_at_once):
        at = time.monotonic()
        part()
        print("      %s: %.1f s" % (part.__name__, time.monotonic() - at), flush=True)
    took_s = time.monotonic() - begin
    check("nothing hangs", took_s < 120 * SLOW, "%.1f s" % took_s)
    sys.exit(1 if failures else 0)
