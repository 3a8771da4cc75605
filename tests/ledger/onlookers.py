"""What others were told of an inspection before it was killed: on its terminal, and by a look
into its ledger while it writes. For durability_test.py."""
import contextlib
import fcntl
import os
import pty
import re
import sqlite3
import termios


class Terminal:
    """A terminal that reads along: each event is counted on it once it is kept."""

    def __init__(self):
        self.ours, self.theirs = pty.openpty()
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, b"\x18\0\x50\0\0\0\0\0")
        os.set_blocking(self.ours, False)
        self.text = b""

    def read(self):
        with contextlib.suppress(BlockingIOError, OSError):
            while more := os.read(self.ours, 65536):
                self.text += more

    def told(self):
        """How many events of this run."""
        self.read()
        counts = re.findall(rb"\r\x1b\[K(\d+)  ", self.text)
        return int(counts[-1]) if counts else 0

    def close(self):
        os.close(self.ours)
        os.close(self.theirs)


class Onlooker:
    """Remembers which events of a serial were committed, while they are."""

    def __init__(self, path, serial):
        self.path, self.serial = path, serial
        self.seen = {}
        self.connection = None

    def look(self):
        try:
            if self.connection is None:
                if not os.path.exists(self.path + "-wal"):
                    return
                self.connection = sqlite3.connect("file:%s?mode=ro" % self.path, uri=True)
            rows = self.connection.execute(
                "SELECT e.number, e.hash FROM events e JOIN attempts a ON a.number = e.attempt "
                "WHERE a.serial = ? AND e.number >= ?", (self.serial, len(self.seen)))
            self.seen.update(rows.fetchall())
        except sqlite3.OperationalError:  # the ledger is just being made
            pass

    def close(self):
        # At once: an open reader would spare the program its recovery.
        if self.connection is not None:
            self.connection.close()
        self.connection = None
