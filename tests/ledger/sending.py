"""Programs that share a server: where each keeps what it has to send, and what must be held there
in the end. For postgresql_test.py."""
import collections
import hashlib
import os

import workbench
from workbench import demand

ENTRIES = 3  # begun, closed, judged


class Setting:
    """What each part works with."""

    def __init__(self, args, folder, server, records):
        self.args = args
        self.folder, self.server, self.records = folder, server, records
        self.events = len(records[0]["events"])

    def place(self, name, port=None):
        """A program with a spool of its own, and a database."""
        folder = os.path.join(self.folder, name)
        os.mkdir(folder)
        self.server.new_database(name)
        program = workbench.Program(self.args.program, self.args.sources, folder)
        return program, self.server.at(port or self.server.port, name)

    def lines(self, path, serials):
        workbench.write_lines(path, self.records, serials)
        return path

    def demand_held(self, name, serials, when):
        """Exactly these, each once and whole; how many the server says there are."""
        rows = self.server.sql(
            name, "SELECT a.serial, a.ended, (SELECT count(*) FROM events e WHERE e.attempt = "
            "a.number), (SELECT count(*) FROM entries n WHERE n.attempt = a.id) FROM attempts a")
        held = collections.Counter(row[0] for row in rows)
        doubles = [s for s, n in held.items() if n > 1]
        missing = sorted(set(serials) - set(held))
        strange = sorted(set(held) - set(serials))
        demand(not doubles, "%s: doubles: %s" % (when, doubles[:5]))
        demand(not missing, "%s: %d lost: %s" % (when, len(missing), missing[:5]))
        demand(not strange, "%s: not known: %s" % (when, strange[:5]))
        for serial, ended, events, entries in rows:
            demand((ended, int(events), int(entries)) == ("complete", self.events, ENTRIES),
                   "%s: %s is torn: %s, %s events, %s entries" %
                   (when, serial, ended, events, entries))
        return len(rows)


def spool_of(program, where):
    name = "waiting-%s.sqlite" % hashlib.sha256(where.encode()).hexdigest()[:12]
    return os.path.join(program.data, "pinproof", name)


def fill_spool(setting, program, where, serials):
    lines = setting.lines(os.path.join(program.folder, "spool.jsonl"), serials)
    code, _, err = program.run("records", "import", "--profile", program.profile, "--ledger",
                               spool_of(program, where), lines)
    demand(code == 0, "filling the spool: " + err)


def send(program, where, when):
    """How many were sent; all of what waits, that is."""
    code, out, err = program.run("records", "send", "--ledger", where)
    demand(code == 0, "%s: send gives %d: %s%s" % (when, code, out, err))
    again, out_again, _ = program.run("records", "send", "--ledger", where)
    demand(again == 0 and out_again.startswith("0 "), "%s: still waits: %s" % (when, out_again))
    return int(out.split()[0])


def inspect(program, bench, where, serial, when):
    """True where it says that the record waits."""
    code, out, err = program.run(*program.inspection(bench, serial, where, "--static"))
    demand(code == 0 and "ACCEPT" in out, "%s: no verdict: %d: %s%s" % (when, code, out, err))
    waits = "the record waits" in err
    demand(waits or not err.strip(), "%s: says: %s" % (when, err))
    return waits
