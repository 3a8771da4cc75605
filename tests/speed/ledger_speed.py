#!/usr/bin/python3
"""A ledger of many records, side by side with plain tools on the same data, in one run.

ledger_speed.py PINPROOF SOURCES [--records N]

The peers: the sqlite3 shell that prints the same table, the same shell that only adds it up, and
Python with numpy that reads the same records as JSON lines. Every time is the best of three but
for the import and for Python, which run once.
"""
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time

import numpy

pinproof, sources = sys.argv[1:3]
count = int(sys.argv[sys.argv.index("--records") + 1]) if "--records" in sys.argv else 100_000
small = min(1000, count)
profile = os.path.join(sources, "profiles", "four-speed-13-pin.json")


def run(*words):
    """Seconds and greatest memory in MB."""
    start = time.perf_counter()
    child = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    complaint = child.stderr.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 1, 2):
        sys.exit(f"{words}: exit {child.returncode}: {complaint.decode()}")
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def best(*words):
    return min(run(*words) for _ in range(3))


def seed_record(folder):
    """One inspection of a simulated pack, no coil driven."""
    bench, ledger = os.path.join(folder, "bench.json"), os.path.join(folder, "one.sqlite")
    server = subprocess.Popen([pinproof, "simulate", "--profile", profile, "--seed", "7",
                               "--speed", "0", "--bench-file", bench], stdout=subprocess.DEVNULL)
    try:
        while not os.path.exists(bench):
            time.sleep(0.05)
        run(pinproof, "inspect", "--profile", profile, "--bench", bench, "--serial", "S",
            "--static", "--ledger", ledger)
    finally:
        server.kill()
        server.wait()
    lines = os.path.join(folder, "one.jsonl")
    run(pinproof, "records", "export", "--lines", lines, "--ledger", ledger)
    with open(lines, encoding="utf-8") as file:
        return json.loads(file.readline())


def write_lines(record, path, lot, how_many):
    chance = random.Random(11)
    record["header"].pop("id", None)
    record["header"]["lot"] = lot
    coils = [e for e in record["events"]
             if e["event"] == "read" and e["key"]["check"] == "coil-resistance" and "value" in e]
    middle = [e["value"] for e in coils]
    with open(path, "w", encoding="utf-8") as file:
        for k in range(how_many):
            record["header"]["serial"] = f"{lot}-{k:06d}"
            common = chance.gauss(1, 0.004)
            for event, value in zip(coils, middle):
                event["value"] = value * (common + chance.gauss(0, 0.002))
            file.write(json.dumps(record, separators=(",", ":")) + "\n")


def python_lot(path):
    """The least that a script would do for a lot: mean, deviation and quartiles by coil."""
    start = time.perf_counter()
    by_coil = {}
    with open(path, encoding="utf-8") as file:
        for line in file:
            for event in json.loads(line)["events"]:
                if event["event"] == "read" and event["key"]["check"] == "coil-resistance":
                    by_coil.setdefault(event["key"]["subject"], []).append(event["value"])
    for values in by_coil.values():
        values = numpy.array(values)
        numpy.mean(values), numpy.std(values, ddof=1), numpy.percentile(values, [25, 50, 75])
    return time.perf_counter() - start


def python_search(path, serial):
    start = time.perf_counter()
    with open(path, encoding="utf-8") as file:
        found = [line for line in file if json.loads(line)["header"]["serial"] == serial]
    assert len(found) == 1
    return time.perf_counter() - start


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_DATA_HOME"] = folder
        record = seed_record(folder)
        ledger = os.path.join(folder, "ledger.sqlite")
        lines, few = os.path.join(folder, "big.jsonl"), os.path.join(folder, "small.jsonl")
        write_lines(record, few, "SMALL", small)
        write_lines(record, lines, "BIG", count)
        run(pinproof, "records", "import", few, "--profile", profile, "--ledger", ledger)
        seconds, memory = run(pinproof, "records", "import", lines, "--profile", profile,
                              "--ledger", ledger)
        print(f"{count} records of {len(record['events'])} events, "
              f"{os.path.getsize(lines) / 1e6:.0f} MB as JSON lines, "
              f"{os.path.getsize(ledger) / 1e6:.0f} MB as a ledger")
        print(f"import, judged and chained   {seconds:8.1f} s   {count / seconds:8.0f} records/s"
              f"   {memory:6.0f} MB at most")
        mine, memory = best(pinproof, "lot", "BIG", "--json", "--ledger", ledger)
        _, little = best(pinproof, "lot", "SMALL", "--json", "--ledger", ledger)
        table = "SELECT attempt, kind, value FROM figures"
        shell, _ = best("sqlite3", "-readonly", ledger, table)
        added, _ = best("sqlite3", "-readonly", ledger,
                        "SELECT count(value), sum(value), min(value), max(value) FROM figures")
        python = python_lot(lines)
        print(f"lot                          {mine:8.2f} s   {count / mine:8.0f} records/s"
              f"   {memory:6.0f} MB at most ({little:.0f} MB for {small} records)")
        print(f"  sqlite3 prints the table   {shell:8.2f} s   lot takes {mine / shell:5.2f} of it")
        print(f"  sqlite3 adds the table up  {added:8.2f} s   lot takes {mine / added:5.2f} of it")
        print(f"  Python/numpy, JSON lines   {python:8.2f} s   lot is {python / mine:5.1f} times faster")
        serial = f"BIG-{count // 2:06d}"
        mine, memory = best(pinproof, "records", "find", "--serial", serial, "--ledger", ledger)
        shell, _ = best("sqlite3", "-readonly", ledger,
                        f"SELECT id, verdict FROM attempts WHERE serial = '{serial}'")
        python = python_search(lines, serial)
        print(f"search by serial             {1e3 * mine:8.1f} ms  sqlite3 {1e3 * shell:.1f} ms, "
              f"Python over the lines {python:.1f} s; {memory:.0f} MB at most")


main()
