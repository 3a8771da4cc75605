"""Inspections and imports onto a disk that fills, and gone on with once there is room. For
durability_test.py."""
import os
import re

import workbench
from workbench import demand


def said_clearly(told, path):
    return path in told and re.search("full|disk I/O|too large|no space", told, re.I)


def inspect_until_full(program, bench, kind, size):
    """What happened, in words."""
    disk = kind(program.folder, size)
    ledger = os.path.join(disk.folder, "ledger.sqlite")
    when = "%s of %d kB" % (kind.name, size // 1000)
    try:
        command = program.inspection(bench, "F1", ledger)
        code, out, err = program.run(*command, **disk.limits())
        bench.demand_off(when)
        demand(code == 4, "%s: inspect ends with %d: %s%s" % (when, code, out[-300:], err))
        told = " ".join((out + err).split())  # the report breaks its lines
        demand(said_clearly(told, ledger), "%s: says only: %s" % (when, told))
        rows = workbench.attempts(ledger, "F1")
        events = 0
        if rows:
            number, header, _, _ = rows[0]
            kept = workbench.chained_events(ledger, number, header, when)
            events = len(kept)
            program.verify(ledger, when + ", while it is full")
            finished = any(e["event"] == "finished" for e, _ in kept)
            demand(finished or "the reading cannot be kept" in told,
                   "%s: does not say that the reading cannot be kept: %s" % (when, told))
        disk.make_room()
        code, out, err = program.run(*command, *(["--resume"] if rows else []))
        demand(code == 0, "%s: with room again %d: %s%s" % (when, code, out[-300:], err))
        program.verify(ledger, when + ", with room again")
        (number, header, ended, verdict), = workbench.attempts(ledger, "F1")
        demand((ended, verdict) == ("complete", "accept"), "%s: %s %s" % (when, ended, verdict))
        again = workbench.chained_events(ledger, number, header, when)
        demand(len(again) > events, when + ": nothing was added")
        return when, events, len(again)
    finally:
        disk.close()


def import_until_full(program, imports, kind, size):
    disk = kind(program.folder, size)
    imports.path = os.path.join(disk.folder, "ledger.sqlite")
    when = "import, %s of %d kB" % (kind.name, size // 1000)
    try:
        code, _, err = program.run(*imports.command(), **disk.limits())
        demand(code not in (0, 1, 2), "%s: ends with %d: %s" % (when, code, err))
        demand(said_clearly(err, imports.path), "%s: says only: %s" % (when, err))
        kept = imports.demand_whole(when)
        disk.make_room()
        imports.complete()
        return when, kept.events, sum(imports.events.values())
    finally:
        disk.close()
