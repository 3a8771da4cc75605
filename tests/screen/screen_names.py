"""Names that a hostile label printer may put on a box, from POST /start to every page, file and
label that shows them. Formula cells: OWASP, CSV injection; well-formed: XML 1.0; marks of direction:
Unicode Standard Annex 9."""
import csv
import io
import json
import os
import re
import subprocess
import urllib.parse
import xml.etree.ElementTree

from http_client import PROGRAM, check
from screen_host import Bench, Screen, environment

MARK = "zq9"
# Each holds "<zq9", so that a page with it unescaped is seen.
TAG = "<%s onload=alert(1)>\"'&amp;`]]><!--" % MARK
DIRECTION = "\u202e\u202d\u2066\u2067\u2069\u200f\u061c\u2028\u2029"
NAMES = {
    "markup": "</td></svg></script><script>%s</script>" % TAG,
    "long": (TAG + "W" * 200) * 40,
    "direction": "A" + DIRECTION + TAG + "\u202eB",
    "lines": "one\r\ntwo\n\rthree\u0085\u000b\u000c" + TAG + "\n\n\nevent: verdict\ndata: {}\n\n",
    "controls": "".join(chr(c) for c in range(1, 32)) + "\x7f\x80\x9f" + TAG,
    "terminal": "\x1b]0;owned\x07\x1b[2J\x9b31m" + TAG,
    "nul": "before\0after" + TAG,
    "equals": "=cmd|' /C calc'!A0" + TAG, "plus": "+1+1" + TAG, "minus": "-2+3" + TAG,
    "at": "@SUM(1)" + TAG, "tab": "\t=1+1" + TAG, "return": "\r=1+1" + TAG,
    "wide": "\uff1d1+1" + TAG, "behind blanks": " \u200b\u00a0=1+1" + TAG,
    "marks": "e" + "\u0301" * 500 + TAG, "emoji": "\U0001F600" * 50 + TAG + "\ufffe\uffff\U0010ffff",
    "path": "../../../../etc/passwd" + TAG, "query": "a&lot=b#c%00%2e?" + TAG,
}
CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
C0 = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
TURNS = re.compile("[\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


EVENTS = {"", "reset", "offer", "state", "run", "reading", "results", "finding", "marks", "skipped",
          "finished", "verdict", "progress", "ask", "live", "sound", "lever_table", "lever_live",
          "ranking", "said", "beat"}


def known_of(watcher):
    """Where the last run begins in what a watcher saw."""
    names = watcher.names()
    return len(names) - 1 - names[::-1].index("reset")


def find_ids(screen):
    code, out, _ = command(screen, "records", "find", "--json", "--ledger", screen.ledger)
    found = json.loads(out)
    found = found if isinstance(found, list) else found.get("records", [])
    return code, [(r.get("record") or r.get("id"), r.get("serial")) for r in found]


def command(screen, *words):
    done = subprocess.run([PROGRAM, *words], capture_output=True, timeout=60,
                          env=environment(os.path.dirname(screen.ledger)))
    return done.returncode, done.stdout, done.stderr


def complain(faults, where, body, html=True, machine=False):
    """What is wrong with a page or a file. JSON for machines escapes C0 only (RFC 8259, 7)."""
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as e:
        faults[where] = "no UTF-8: %s" % e
        return ""
    if html and "<" + MARK in text:
        faults[where] = "raw markup: " + text[text.index("<" + MARK) - 60:][:100]
    # What was searched for stands in its field again, which is isolated by itself.
    seen = re.sub('<input [^>]*value="[^"]*"', "", text) if html else text
    for what, pattern in (("control", C0 if machine else CONTROL),
                          ("direction", C0 if machine else TURNS)):
        found = pattern.search(seen)
        if found:
            faults[where + " " + what] = repr(seen[max(0, found.start() - 30):][:60])
    return text


def measure(screen):
    verdicts, faults = {}, {}
    for name, text in NAMES.items():
        status, said, w = screen.run(text, lot=text, note=text, level="static")
        verdicts[name] = status if status != 200 else (said or {}).get("verdict")
        for event, data, _ in w.messages:
            try:
                json.loads(data if event else "0")  # without a name: a comment, a sign of life
            except ValueError:
                faults[name, event] = data[:80]
        if set(w.names()) - EVENTS or w.names()[known_of(w):].count("verdict") != 1:
            faults[name] = w.names()
    check("packs of any name are inspected", set(verdicts.values()) == {"accept"}, verdicts if set(
        verdicts.values()) != {"accept"} else len(verdicts))
    check("each message of the stream is whole", not faults, faults or "")


def refused(screen):
    good = json.dumps(screen.wish("@", level="static")).encode()
    got = {}
    for name, bad in {"lone surrogate": b'"\\ud800"', "turned pair": b'"\\udc00\\ud800"',
                      "no UTF-8": b'"\xff\xfe<zq9"', "half a character": b'"\xe2\x82"',
                      "surrogate bytes": b'"\xed\xa0\x80"', "too long": b'"' + b"x" * 16385 + b'"'}.items():
        got[name] = screen.post("/start", good.replace(b'"@"', bad))[0]
    check("what is no text or too long is refused", set(got.values()) == {400}, got)


def pages(screen, ids):
    faults, looked = {}, 0
    targets = ["/lots", "/records", "/", "/records?verdict=" + urllib.parse.quote(TAG),
               "/records?finding=" + urllib.parse.quote(TAG)]
    for name in NAMES.values():
        for target in ("/records?serial=", "/records?lot=", "/lot?name=", "/profile?name=",
                       "/card?profile=", "/report/", "/label/", "/compare?first=%s&second=" % ids[0][0]):
            targets.append(target + urllib.parse.quote(name[:2000], safe=""))
    targets += ["/report/" + id for id, _ in ids] + ["/label/" + id for id, _ in ids]
    targets += ["/compare?first=%s&second=%s" % (a[0], b[0]) for a, b in zip(ids, ids[1:])]
    raw = [b"/records?serial=%ff%fe<zq9", b"/lot?name=\xff", b"/records?serial=%00%0d%0a<zq9"]
    for target in targets:
        status, headers, body, _ = screen.get(target)
        looked += status == 200
        kind = headers.get("content-type", "")
        if status not in (200, 404, 409, 400, 431, 414):
            faults[target[:60]] = status
        if kind.startswith(("text/html", "image/svg")):
            text = complain(faults, target[:60], body)
            if "script-src" in headers.get("content-security-policy", "") and target != "/":
                faults[target[:60] + " policy"] = headers["content-security-policy"]
        if status == 200 and target.startswith("/label/"):
            try:
                xml.etree.ElementTree.fromstring(text)
            except xml.etree.ElementTree.ParseError as e:
                faults[target] = str(e)
    fields = sorted(set(re.findall(rb'type="radio" required name="(\w+)"', screen.get("/lots")[2])))
    chosen = "&".join("%s=%s" % (f.decode(), id) for f, (id, _) in zip(fields, ids))
    status, _, body, _ = screen.get("/compare?" + chosen)
    check("the two records chosen on the page are compared", len(fields) == 2 and status == 200 and
          b"Choose two" not in body, (fields, status))
    for target in raw:
        text = b"GET " + target + b" HTTP/1.1\r\nHost: %s\r\n\r\n" % screen.name().encode()
        status, _, body, _ = screen.patiently(raw=text)
        complain(faults, repr(target), body)
    check("every page, report and label is harmless", not faults and looked > 80,
          list(faults.items())[:8] or "%d looked at" % looked)


def exported(screen, folder, ids):
    path = os.path.join(folder, "all.csv")
    code, _, err = command(screen, "records", "export", "--ledger", screen.ledger, "--csv", path)
    with open(path, "rb") as f:
        body = f.read()
    faults = {}
    text = complain(faults, "csv", body, html=False)
    rows = list(csv.reader(io.StringIO(text, newline="")))
    head = rows[0]
    bad = [(head[k], cell[:40]) for row in rows[1:] for k, cell in enumerate(row)
           if re.match("[=+\\-@\t\r\uff1d\uff0b\uff0d\uff20]", cell.lstrip(" \u00a0\u200b")) and
           not re.fullmatch(r"-?[0-9.]+(e[-+]?[0-9]+)?", cell)]
    check("no cell of the CSV is a formula, no row is broken", code == 0 and not bad and not faults and
          {len(row) for row in rows} == {len(head)} and len(rows) > 500,
          bad[:5] or faults or "%d rows %s" % (len(rows), err[-60:]))
    check("and the names are in it", len({row[head.index("serial")] for row in rows[1:]}) ==
          len({s for _, s in ids}) or len({row[0] for row in rows[1:]}) == len(ids))


def shown(screen, ids):
    faults = {}
    for k, (id, _) in enumerate(ids):
        for words in [["records", "show", id], ["records", "show", id, "--json"]][:2 if k % 4 == 0 else 1]:
            code, out, err = command(screen, *words, "--ledger", screen.ledger)
            if code > 2:
                faults[id] = code, err[-100:]
            complain(faults, " ".join(words), out + err, html=False, machine="--json" in words)
    code, out, err = command(screen, "records", "find", "--ledger", screen.ledger)
    complain(faults, "records find", out + err, html=False)
    check("nothing of a name moves the terminal's cursor", not faults, list(faults.items())[:5] or
          len(ids))


def names(folder):
    with Bench(folder, plain=False) as bench, Screen(folder, bench.file) as screen:
        screen.drive()
        measure(screen)
        refused(screen)
        _, ids = find_ids(screen)
        check("all are in the ledger", len(ids) == len(NAMES), len(ids))
        pages(screen, ids)
        exported(screen, folder, ids)
        shown(screen, ids)
