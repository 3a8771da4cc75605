"""Bodies that mean nothing, answers to questions that nobody asked, and screens that fight."""
import json
import threading
import time

from http_client import SLOW, check
from screen_host import MACHINE, Bench, Screen, accepted, newest, phase, watch

STORMERS = 20
ALTERNATIONS = 1000


def bodies():
    long = "x" * 65000
    values = [b"NaN", b"Infinity", b"-1e999", b"1e999", b"1" * 60000, b"0." + b"9" * 60000, b"true",
              b"null", b"[]", b"{}", b'""', b"-0", b"18446744073709551616", b"01", b"0x10",
              b'"' + long.encode() + b'"', b'"\\ud800"', b'"\\udc00\\ud800"', b'"\\u0000"', b'"\xff\xfe"',
              b'"\xed\xa0\x80"', b'"\xf4\x90\x80\x80"', b'"\xc0\xaf"', b'"\x01"', b"'x'", b'"']
    fields = [b"work", b"profile", b"bench", b"serial", b"lot", b"note", b"level", b"codes", b"resume",
              b"celsius", b"ask", b"key", b"text", b"screen", b"take_over"]
    out = [b'{"%s":%s}' % (field, value) for field in fields for value in values]
    for opening in (b"[", b'{"a":', b'[{"a":', b'{"work":[', b'{"codes":[['):
        out.append((opening * 60000)[:60000])
    out += [b"[" * 32000 + b"]" * 32000, b'{"codes":' + b"[" * 30000 + b"]" * 30000 + b"}",
            b'{"a":' * 9000 + b"1" + b"}" * 9000, b"", b" ", b"\0", b"null", b"0", b'"x"', b"[]", b"{",
            b"\xef\xbb\xbf{}", b"{}{}", b"{},", b'{"work":"inspect",}', b"/**/{}", b"\xff" * 65000,
            b'{"codes":[' + b'"P",' * 16000 + b'"P"]}', b'{"work":"inspect","work":"lever"}',
            b'{"work":"inspect","codes":["' + b"P" * 17 + b'"]}', b"".join(
                [b"{"] + [b'"%d":1,' % n for n in range(6000)] + [b'"z":1}'])]
    return out


def nonsense_bodies(screen):
    screen.drive()
    before, odd, slowest = screen.counts(), {}, 0
    with screen.connect() as s:  # more than may be: the brackets of a hundred thousand
        s.sendall(screen.text("POST", "/start", ["X-Pinproof-Driver: " + screen.token],
                              b"[" * 100000)[:70000])
        too_big = s.recv(100)
    all_of_them = bodies()
    for n, body in enumerate(all_of_them):
        for path in ("/start", "/answer", "/drive", "/release")[:1 if n % 3 else 4]:
            begin = time.monotonic()
            status, said = screen.post(path, body)
            slowest = max(slowest, time.monotonic() - begin)
            fine = path in ("/answer", "/release") and status == 200
            if status not in (400, 409, 413) and not fine or said is None and status != 413:
                odd[path, body[:60]] = status, said
            if path == "/release" or path == "/drive":
                screen.drive()
    check("nonsense is refused in words", not odd, list(odd.items())[:6] or "%d bodies, slowest %.0f ms" % (
        len(all_of_them), 1000 * slowest))
    check("a body that is too big is not read", b" 413 " in too_big, too_big[:40])
    full = dict(screen.wish("N", level="static"))
    wrong = {"work": ["", "Inspect", "inspect ", "../inspect"], "level": ["Static", "", "none", "half"],
             "resume": ["yes", "", "maybe"], "celsius": [-41, 151, 1e300, "20", True],
             "serial": ["x" * 16385, 7, None, ["x"]], "codes": [["P" * 17], ["P0871"] * 101, "P0871"]}
    taken = {}
    for field, values in wrong.items():
        for value in values:
            status, said = screen.post("/start", dict(full, **{field: value}))
            if status not in (400, 409):
                taken[field, repr(value)[:20]] = status
                screen.post("/stop", {})
                screen.idle()
    check("nothing is started by a wish that says what there is not", not taken, taken or "")
    after = screen.settled(*before[1:])
    check("nothing is left of them", after[1] <= before[1] and after[2] <= before[2] and
          after[0] - before[0] < 30 * SLOW, "%.1f MB, %.1f MB; threads %d, %d; handles %d, %d" % (
              before[0], after[0], before[1], after[1], before[2], after[2]))


def busy(screen, bench):
    screen.drive()
    first = screen.start("BUSY")[0]
    check("a pulse is on", first == 200 and bench.wait_on(2))
    again = [screen.start("BUSY-2")[0] for _ in range(20)]
    check("a start while something is measured is refused", set(again) == {409}, set(again))
    screen.post("/stop", {})
    check("and all ends idle", screen.idle())


def stale_answers(folder):
    """With a bench held by hand, which waits for a person all the time."""
    with Bench(folder, "hand", connect="hand") as bench, \
            Screen(folder, bench.file, ledger="hand.sqlite") as screen:
        screen.drive()
        screen.start("HAND", level="static")
        w = watch(screen)
        w.read(lambda w: (newest(w, "ask") or {}).get("kind") not in (None, "none", "look"))
        asked = newest(w, "ask")
        statuses = {}
        for n in (0, asked["n"] - 1, asked["n"] + 1, asked["n"] + 2, 2**53, 1e15, 1e16, -1, 1e300,
                  asked["n"] + 0.5 - 1, 2**64 + asked["n"]):
            for key in ("skip", "skip_all", "back", "take", "nonsense", ""):
                status, _ = screen.post("/answer", {"ask": n, "key": key, "text": "because"})
                statuses[status] = statuses.get(status, 0) + 1
        w.read(lambda w: newest(w, "ask")["n"] != asked["n"], 1)
        now = newest(w, "ask")
        check("answers to what was not asked change nothing", now == asked and
              set(statuses) <= {200, 400} and "reading" not in w.names(),
              (asked["n"], now["n"], statuses))
        bare = [screen.post("/answer", {"ask": now["n"], "key": k, "text": t})[0]
                for k in ("skip", "skip_all") for t in ("", " ", "\n\t")]
        check("no skipping without a reason", set(bare) == {400}, set(bare))
        for _ in range(300):
            screen.post("/answer", {"ask": now["n"], "key": "back", "text": ""})
        screen.post("/stop", {}, "")
        check("and all ends idle", screen.idle())
        w.socket.close()


def alternations(screen, bench):
    """Starts and stops as fast as they go, each awaited idle, for so long as there is time: a quiet
    machine does all of them in half a minute."""
    screen.drive()
    before = screen.counts()
    w = watch(screen)
    w.read(lambda w: phase(w) == "idle")
    end, done, bad = time.monotonic() + 8 * SLOW, 0, {}
    while done < ALTERNATIONS and time.monotonic() < end:
        w.messages = w.messages[-40:]
        status, said = screen.start("ALT-%d" % done, level="full" if done % 2 else "static")
        number = (said or {}).get("run")
        if done % 3 == 2:
            time.sleep(0.002 * (done % 40))
        stopped = screen.post("/stop", {}, "")[0]
        if status != 200 or stopped != 200:
            bad[status, stopped] = bad.get((status, stopped), 0) + 1
        if not w.read(lambda w: phase(w) == "idle" and (
                not number or any(b".%d-" % number in m[2] for m in w.messages)), 10):
            bad["not idle"] = bad.get("not idle", 0) + 1
        done += 1
    w.socket.close()
    check("starts and stops alternate", done >= 30 and not bad, bad or "%d times" % done)
    check("each ends with the output off", not bench.is_on() and screen.idle())
    after = screen.settled(*before[1:])
    check("and leaves nothing behind", after[1] <= before[1] and after[2] <= before[2] and
          after[0] - before[0] < 30 * SLOW, "%.1f MB, %.1f MB; threads %d, %d; handles %d, %d" % (
              before[0], after[0], before[1], after[1], before[2], after[2]))
    said, seen = accepted(screen, "AFTER")
    doubts = [r["title"] + ": " + r["text"] for m in seen.messages if m[0] == "results"
              for r in json.loads(m[1])["results"] if r["outcome"] != "pass"]
    # Coils that were started so often may be warm by more than the thermometer knows: a doubt.
    check("and the next inspection is as good", said.get("verdict") == "accept" or
          MACHINE in str(said) or
          (said.get("verdict") == "hold" and "failed" not in said.get("why", "failed")),
          "%s %s" % (said.get("why", said), doubts[-3:]))


def fight(screen, who, tokens, statuses):
    name = "storm-%02d-0123456789abcdef" % who
    mine = ""
    for turn in range(20):
        status, said = screen.post("/drive", {"screen": name, "take_over": turn % 2 == 0}, mine)
        statuses.append(status)
        if status == 200:
            mine = said["driver"]
            tokens.append(mine)
        if turn % 3 == who % 3:
            statuses.append(screen.post("/start", screen.wish("STORM-%d" % who, level="static",
                                                              resume="anew"), mine)[0])
        if turn % 4 == who % 4:
            statuses.append(screen.post("/stop", {}, "")[0])
        if turn % 5 == 4:
            statuses.append(screen.post("/release", {}, mine)[0])


def storm(screen):
    tokens, statuses = [], []
    watchers = [watch(screen) for _ in range(STORMERS)]
    threads = [threading.Thread(target=fight, args=(screen, k, tokens, statuses))
               for k in range(STORMERS)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    counted = {s: statuses.count(s) for s in sorted(set(statuses))}
    check("twenty screens fight for the wheel", set(counted) <= {200, 403, 409} and
          counted.get(200, 0) > 50, counted)
    check("and all ends idle", screen.idle())
    good = [t for t in set(tokens) if screen.post("/answer", {"ask": 0, "key": "take"}, t)[0] == 200]
    check("one of them drives at most", len(good) <= 1, len(good))
    for w in watchers:
        w.read(lambda w: False, 0.05)
    drivers = {newest(w, "state")["driver"] for w in watchers}
    check("and all are told the same", len(drivers) == 1 and bool(good) == bool(drivers - {""}), drivers)
    for w in watchers:
        w.socket.close()


def nonsense(folder):
    with Bench(folder) as bench, Screen(folder, bench.file) as screen:
        nonsense_bodies(screen)
        busy(screen, bench)
        storm(screen)
        alternations(screen, bench)
    stale_answers(folder)
