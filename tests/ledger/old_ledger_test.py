"""A ledger that version 0.1.0 wrote is carried over: its hashes hold, its records are read and
judged again to the same verdicts, and what is learned from it and said of its lot is what version
0.1.0 itself answered (tests/data/ledger). Nothing of it is found by a title any more.
Usage: old_ledger_test.py PINPROOF SOURCES"""
import json
import lzma
import math
import os
import sqlite3
import subprocess
import sys
import tempfile

program, sources = sys.argv[1:3]
data = os.path.join(sources, "tests/data/ledger")
profile = os.path.join(sources, "profiles/four-speed-13-pin.json")
expected = json.load(open(os.path.join(data, "answers-0.1.0.json"), encoding="utf-8"))
failed = []


def demand(holds, what):
    if not holds:
        failed.append(what)
        print("FAILED:", what)


def run(*words, code=0):
    out = subprocess.run([program, *words], capture_output=True, text=True, timeout=120)
    demand(out.returncode == code, f"{' '.join(words[:3])}: exit {out.returncode}, {code} wanted: "
           + out.stderr[-400:])
    return out.stdout


def as_json(*words, code=0):
    out = run(*words, "--json", code=code)
    return json.loads(out) if out else {}


def same(a, b):
    if a is None or b is None:
        return a is b
    return math.isclose(a, b, rel_tol=1e-12)


def verdicts(ledger):
    found = as_json("records", "find", "--ledger", ledger)["records"]
    return {r["serial"]: (r["verdict"], r["level"], r["ended"]) for r in found}


def kinds(ledger):
    with sqlite3.connect(ledger) as db:
        return db.execute("SELECT check_name, subject, aspect, title FROM figure_kinds").fetchall()


with tempfile.TemporaryDirectory() as folder:
    ledger = os.path.join(folder, "old.sqlite")
    packed = open(os.path.join(data, "ledger-0.1.0.sqlite.xz"), "rb").read()
    with open(ledger, "wb") as out:
        out.write(lzma.decompress(packed))
    with sqlite3.connect(ledger) as db:
        demand(db.execute("SELECT value FROM ledger WHERE key = 'schema'").fetchone() == ("2",),
               "the stored ledger is one of schema 2")
        head = db.execute("SELECT value FROM ledger WHERE key = 'head'").fetchone()[0]

    before = verdicts(ledger)
    demand(len(before) == 10, "all ten records are found")
    demand(before.get("BD-108") == ("reject", "static", "complete"), "the reject is a reject")
    demand(before.get("BD-202") == ("accept", "full", "complete"), "the full accept is one")
    run("records", "verify", "--ledger", ledger, "--head", head)

    rows = kinds(ledger)
    demand(len({(c, s, t) for c, s, _, t in rows}) == len({(c, s, a) for c, s, a, _ in rows}) > 60,
           "as many ids as there were titles")
    unnamed = [title for _, _, aspect, title in rows if aspect == title]
    demand(not unnamed, f"every figure of version 0.1.0 has an id: {unnamed[:3]}")

    learned = as_json("learn", "--profile", profile, "--ledger", ledger, "--good-lot",
                      "autumn box", *[w for n in range(101, 107) for w in ("--good-serial", f"BD-{n}")],
                      "--allow-few-lots", code=2)
    now = {f["pointer"]: f for f in learned.get("figures", [])}
    demand(len(now) == len(expected["learned"]) > 0, "as many limits are looked at as were")
    for then in expected["learned"]:
        f = now.get(then["pointer"], {})
        demand(same(f.get("mean"), then["mean"]) and same(f.get("sd"), then["sd"])
               and f.get("fate") == then["fate"] and f.get("limits") == then["limits"],
               f"learned as version 0.1.0 did: {then['pointer']}")

    lot = as_json("lot", "spring box", "--ledger", ledger, code=1)  # one pack of it is a reject
    for key, value in expected["lot"].items():
        demand(lot.get(key) == value, f"the lot's {key}")
    figures = {(f["check"], f["subject"], f["title"]): f for f in lot.get("figures", [])}
    demand(len(figures) == len(expected["lot_figures"]) > 0, "as many figures of the lot")
    for then in expected["lot_figures"]:
        f = figures.get((then["check"], then["subject"], then["title"]), {})
        demand(all(same(f.get(k), then[k]) for k in ("mean", "sd", "median")),
               f"the lot's figure {then['title']}")

    # Judged again by this version: same verdicts, and old and new judgements verify side by side.
    run("records", "rejudge", "--ledger", ledger, "--profile", profile)
    demand(verdicts(ledger) == before, "judged again to the same verdicts")
    run("records", "verify", "--ledger", ledger)
    after = kinds(ledger)
    print(f"figure kinds: {len(rows)} carried over, {len(after)} after judging again")
    new = {(c, s, a) for c, s, a, _ in after}
    demand({(c, s, a) for c, s, a, _ in rows} <= new, "judged again: every id is there")
    demand(new == {(c, s, a) for c, s, a, _ in rows}, "judged again: no id but the carried ones: "
           + str(sorted(new - {(c, s, a) for c, s, a, _ in rows})[:4]))
    again = as_json("lot", "spring box", "--ledger", ledger, code=1)
    demand(len(again.get("figures", [])) == len(expected["lot_figures"]),
           "figures of both judgements are one figure each")

    # Handed to another ledger, its hashes hold there too.
    other = os.path.join(folder, "other.sqlite")
    run("records", "import", "--ledger", other, ledger)
    demand(verdicts(other) == before, "handed over: the same verdicts")
    run("records", "verify", "--ledger", other)

print("old ledger:", "FAILED" if failed else "ok")
sys.exit(1 if failed else 0)
