"""Who may do what: tokens, hosts, other sites' pages, the key, and what files can be asked for.
Fetch Metadata: W3C, Sec-Fetch-Site; Host and DNS rebinding: RFC 9110, 7.2; all else from memory."""
import os
import re
import shutil
import socket
import time

from http_client import SLOW, check
from screen_host import ME, OTHER, PROFILE, SOURCES, Bench, Screen, Stream

JSON = "application/json"


def tokens(screen, bench, stranger):
    check("the first to come drives", screen.drive() == 200)
    old = screen.token
    check("another takes over while nothing runs", screen.drive(OTHER) == 200)
    wrong = {"none": "-", "a wrong one": "0" * 32, "an old one": old, "another screen's": stranger,
             "too long": screen.token + "0", "too short": screen.token[:-1],
             "twice": screen.token * 2, "upper case": screen.token.upper() + "A"}
    got = {}
    for name, token in wrong.items():
        token = "" if token == "-" else token
        for path, body in (("/start", screen.wish("X")), ("/release", {}),
                           ("/answer", {"ask": 1, "key": "take", "text": ""})):
            got[name, path] = screen.post(path, body, token)[0]
    check("no POST is obeyed without the driver's token", set(got.values()) == {403} and
          len(got) == 24, {k: v for k, v in got.items() if v != 403} or "")
    status, said = screen.post("/drive", {"screen": ME, "take_over": False}, "")
    check("who asks politely does not take over", status == 409 and
          screen.token not in str(said), said)
    check("nothing was energised by it", bench.events() == [])


def stopping(screen, bench):
    """By a stranger, in the middle of a pulse, through a crowd of idle connections."""
    late, runs = [], 0
    for pulse in (1, 2, 4):
        # On a busy machine the guardian may have ended the run before that pulse: then again.
        for _ in range(3):
            screen.drive()
            screen.start("STOP-%d" % pulse, resume="anew" if runs else "no")
            runs += 1
            idle = [screen.connect() for _ in range(150)]
            on = bench.wait_on(pulse, 3 if SLOW > 1 else 10)
            if on:
                break
            for s in idle:
                s.close()
            screen.idle()
        check("a pulse is on", on)
        at_s = time.monotonic()
        status, _ = screen.post("/stop", {}, "")
        late.append(bench.off_after(at_s) if status == 200 else None)
        for s in idle:
            s.close()
        check("and all ends idle", screen.idle())
    check("a stop from anybody makes it safe", None not in late and max(late) < 0.5,
          ", ".join("%.0f ms" % (1000 * s) if s is not None else "stays on" for s in late))


def keeps_the_wheel(screen, bench):
    """A driver who watches is not thrown out in mid-run."""
    screen.drive()
    watcher = Stream(screen, who=ME)
    watcher.read(lambda w: "state" in w.names())
    screen.start("WHEEL")
    check("a pulse is on", bench.wait_on(1))
    status, _ = screen.post("/drive", {"screen": OTHER, "take_over": True}, "")
    check("nobody takes over in mid-run from a driver who watches", status == 409, status)
    screen.post("/stop", {}, "")
    watcher.socket.close()
    check("and all ends idle", screen.idle())


def hosts(screen):
    port = ":%d" % screen.port
    wanted = {200: ["127.0.0.1" + port, "localhost" + port, "LOCALHOST" + port, "[::1]" + port,
                    "127.9.9.9" + port],
              403: ["rebound.example" + port, "127.0.0.1", "127.0.0.1:1", "127.0.0.1.nip.example" + port,
                    "localhost.example" + port, "localhost.", "2130706433" + port, "0x7f.1" + port,
                    "127.1" + port, "0.0.0.0" + port, "192.0.2.7" + port, "[::ffff:7f00:1%25a]" + port,
                    "user@127.0.0.1" + port, "127.0.0.1" + port + "@rebound.example",
                    "[::1" + port, "127.0.0.1:0%d" % screen.port, "127.0.0.1" + port + "0", ""]}
    got = {}
    for status, names in wanted.items():
        for name in names:
            raw = ("GET / HTTP/1.1\r\nHost: %s\r\nConnection: close\r\n\r\n" % name).encode()
            answer = screen.patiently(raw=raw)[0]
            if answer != status and not (status == 403 and answer == 400):
                got[name] = answer
    check("only this computer's own names and numbers are answered", not got, got or "")


def other_sites(screen):
    here = "http://%s" % screen.name()
    refused, open_ones = [], {}
    for origin in ("http://rebound.example", "null", here + "0", here.replace("http", "https"),
                   here + "/", "http://localhost.example:%d" % screen.port, here + ".example"):
        refused.append((JSON, ["Origin: " + origin]))
        refused.append((JSON, ["Origin: " + origin, "Sec-Fetch-Site: same-origin"]))
    for site in ("cross-site", "same-site", "none-such", "Same-Origin", "same-origin, cross-site"):
        refused.append((JSON, ["Sec-Fetch-Site: " + site]))
    for kind in ("application/x-www-form-urlencoded", "text/plain", "multipart/form-data; boundary=x",
                 "text/plain; x=application/json", "application/jsonx", "", "text/json"):
        refused.append((kind, []))
        refused.append((kind, ["Origin: " + here]))
    for kind, headers in refused:
        for path in ("/stop", "/drive", "/start"):
            raw = screen.text("POST", path, headers, b'{"screen":"%s"}' % ME.encode())
            raw = raw.replace(b"Content-Type: application/json", b"Content-Type: " + kind.encode())
            status = screen.patiently(raw=raw)[0]
            if status not in (403, 415, 400):
                open_ones[path, kind, str(headers)] = status
    check("no other site's page can post anything, not even a stop", not open_ones,
          open_ones or len(refused) * 3)
    status = screen.patiently(method="OPTIONS", target="/start", headers=[
        "Origin: http://rebound.example", "Access-Control-Request-Method: POST"])
    check("and no site is given leave", status[0] in (403, 405) and
          not any("access-control" in name for name in status[1]), status[0])
    mine = screen.patiently(method="POST", target="/drive", body=b'{"screen":"%s"}' % ME.encode(),
                            headers=["Origin: " + here, "Sec-Fetch-Site: same-origin"])
    check("the page itself may", mine[0] in (200, 409), mine[0])


def traversals(planted):
    ups = ["../" * 12, "..%2f" * 12, "%2e%2e/" * 12, "%2e%2e%2f" * 12, "....//" * 6, "..\\" * 8,
           "..%5c" * 8, "%252e%252e%252f" * 6, "%c0%ae%c0%ae/" * 6, "/", "//", "%2f", "%00/", ""]
    out = []
    for up in ups:
        for file in ("etc/passwd", planted[1:], planted[1:] + "%00.css", "etc/passwd%00"):
            for base in ("/page/", "/report/", "/label/", "/profile?name=", "/card?profile=", "/"):
                out.append(base + up + file)
    for file in (planted, planted[:-5], "file://" + planted, "/proc/self/environ"):
        out += [base + file for base in ("/profile?name=", "/card?profile=", "/page/", "/lot?name=",
                                         "/records?serial=", "/compare?first=%s&second=" % file)]
    return out


def files(folder, bench):
    planted = os.path.join(folder, "planted.json")
    with open(os.path.join(os.path.dirname(bench.file), "planted.json"), "w") as f, \
            open(os.path.join(SOURCES, "profiles", PROFILE + ".json")) as profile:
        f.write(profile.read().replace('"signal"', '"signal" ').replace("20-pin", "PLANTED"))
    log = os.path.join(folder, "opened")
    trace = [shutil.which("strace"), "-D", "-f", "-qq", "-e", "trace=open,openat,openat2,stat,execve",
             "-o", log] if shutil.which("strace") else []
    leaked, odd, asked = [], {}, traversals(planted)
    with Screen(folder, bench.file, before=trace) as screen:
        for target in asked:
            status, _, body, _ = screen.get(target)
            if b"root:" in body or b"PLANTED" in body or b"PATH=" in body:
                leaked.append(target)
            if status == 200 and not target.startswith(("/records", "/lot?", "/compare")) or \
                    status >= 500:
                odd[target] = status
        screen.drive()
        for field in ("profile", "bench"):
            for name in (planted, "../" * 12 + planted, "/etc/passwd", PROFILE + "\0", ""):
                status, said = screen.start("T", **{field: name})
                if status not in (400, 409):
                    odd[field + " " + repr(name)] = status, said
    check("no path leads out of what is served", not leaked and not odd, leaked or odd or
          "%d asked" % len(asked))
    if trace:
        with open(log, errors="replace") as f:
            opened = {m for line in f for m in re.findall(r'"([^"]*)', line)}
        bad = [name for name in opened if "passwd" in name or "planted" in name or ".." in name and
               folder in name]
        check("nor is any such file opened", len(opened) > 10 and not bad, bad or
              "%d files traced" % len(opened))


def own_address():
    """That by which others reach this machine; all of them where there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        try:
            s.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: nothing is sent
            name = s.getsockname()[0]
            return name if not name.startswith("127.") else "0.0.0.0"
        except OSError:
            return "0.0.0.0"


GETS = ["/", "/page/app.js", "/events?screen=" + ME, "/profile?name=" + PROFILE, "/lots", "/records",
        "/lot?name=L", "/report/01", "/label/01", "/compare?first=a&second=b", "/nothing",
        "/card?profile=" + PROFILE]


def shut(screen, headers):
    out = {}
    for target in GETS:
        reply = screen.patiently(target=target, headers=headers)
        if reply[0] != 403:
            out[target] = reply[0]
    for path in ("/stop", "/drive", "/start", "/answer", "/release"):
        raw = screen.text("POST", path, list(headers), b'{"screen":"%s"}' % ME.encode())
        reply = screen.patiently(raw=raw)
        if reply[0] != 403:
            out[path] = reply[0]
    return out


def the_key(folder, bench, listen):
    screen = Screen(folder, bench.file, listen=listen)
    key = screen.url.split("?key=")[-1]
    check("the link beyond loopback holds a key", len(key) >= 32 and "?key=" in screen.url)
    wrong = [[], ["Cookie: pinproof="], ["Cookie: pinproof=" + key[:-1]], ["Cookie: xpinproof=" + key],
             ["Cookie: pinproof=" + key.upper() + "0"], ["X-Pinproof-Driver: " + key],
             ["Authorization: Bearer " + key], ["Referer: " + screen.url]]
    found = {str(h).replace(key, "KEY"): s for h in wrong for s in [shut(screen, h)] if s}
    check("without it there is only the 403", not found, found or "%d ways" % len(wrong))
    seen = [screen.patiently(target=t)[2] for t in GETS + ["/?key=" + key[:-1], "/?key="]]
    loose = {}
    for target in ("/", "/lots", "/records?serial=a%26b", "//rebound.example/", "/%2f%2frebound.example",
                   "/\\rebound.example/", "/a%0d%0aSet-Cookie:%20x=y"):
        link = target + ("&" if "?" in target else "?") + "key=" + key
        status, headers, body, _ = screen.patiently(target=link)
        where = headers.get("location", "")
        if status == 303 and (key in where or re.match(r"/[/\\]|[^/]", where) or "x=y" in str(
                [v for k, v in headers.items() if k == "set-cookie"])):
            loose[target] = where
        seen.append(body)
        if target == "/":
            cookie = headers.get("set-cookie", "")
            check("with it comes a cookie for this site's own requests", status == 303 and all(
                w in cookie for w in ("HttpOnly", "SameSite=Strict")), cookie.replace(key, "KEY"))
            screen.cookie = cookie.split(";")[0]
    check("and it leads to the same page here, without the key", not loose, loose or "")
    policies = set()
    for target in GETS:
        if target.startswith("/events"):
            continue
        status, headers, body, _ = screen.get(target)
        policies.add(headers.get("referrer-policy"))
        seen.append(body + str(headers).encode())
        if status == 403:
            loose[target] = status
    status, said = screen.post("/drive", {"screen": ME, "take_over": True},
                               headers=["Cookie: " + screen.cookie])
    screen.token = (said or {}).get("driver", "")
    begun = screen.post("/start", screen.wish("KEY", level="static"),
                        headers=["Cookie: " + screen.cookie])[0]
    check("with the cookie all is open", not loose and status == 200 and begun == 200,
          loose or (status, begun))
    stream = Stream(screen, ["Cookie: " + screen.cookie])
    check("so is the stream", stream.read(lambda w: "verdict" in w.names(), 20))
    seen += [m[2] for m in stream.messages]
    stream.socket.close()
    seen.append(screen.get("/records")[2])
    check("no page, header or message holds the key", len(seen) > 40 and
          not any(key.encode() in text for text in seen), len(seen))
    check("no page tells other sites where it is", policies <= {"same-origin", "no-referrer"},
          policies)
    said = screen.end()
    kept = b""
    for place, _, names in os.walk(folder):
        for name in names:
            with open(os.path.join(place, name), "rb") as f:
                kept += f.read()
    check("nor does a log line or a file", key not in said and key.encode() not in kept, len(kept))


def rights(folder):
    with Bench(folder) as bench:
        with Screen(folder, bench.file, ledger="none") as other:
            other.drive()
            stranger = other.token
            with Screen(folder, bench.file) as screen:
                tokens(screen, bench, stranger)
                hosts(screen)
                other_sites(screen)
                check("still nothing was energised", bench.events() == [])
                stopping(screen, bench)
                keeps_the_wheel(screen, bench)
        files(folder, bench)
        for listen in sorted({"0.0.0.0", own_address()}):
            keyed = os.path.join(folder, "keyed-" + listen)
            os.mkdir(keyed)
            the_key(keyed, bench, listen)
