"""An instrument with one bad habit, on standard input and output; socat puts it
on a socket or a pseudo-terminal. Its true reading is 100 ohm, always.
Usage: trap_peer.py HABIT MARK: the file MARK remembers, from one connection to the
next, that something has happened once."""
import os
import sys
import time

HABIT, MARK = sys.argv[1:3]
LATE_S = 2  # beyond the patience of traps_test.cpp
GOOD = b"+1.00000000E+02"
END = {"CR LF": b"\r\n", "LF CR": b"\n\r"}.get(HABIT, b"\n")
state = {"busy": 5}


def put(text, end=None):
    os.write(1, text + (END if end is None else end))


def reading():
    if HABIT == "late reply" and not os.path.exists(MARK):
        open(MARK, "w").close()
        time.sleep(LATE_S)
        put(b"+7.00000000E+00")  # what was on the probes then
    elif HABIT == "split reply":
        put(GOOD[:5], b"")
        time.sleep(0.05)
        put(GOOD[5:])
    elif HABIT == "half a line":
        put(b"+1.0000", b"")
    elif HABIT == "unplugged in mid-reply":
        put(b"+1.0000", b"")
        sys.exit(0)
    elif HABIT == "silence":
        pass
    elif HABIT in ("+9.9E37", "-9.9E37", "9.91E37", "OL", "+1.0E+02,+2.0E+00", "1.0,5", "nan",
                   "+1.0E+02 OHM", "inf", ""):
        put(HABIT.encode())
    else:
        put(GOOD)


def samples():
    if HABIT == "block #0":
        put(b"#0\x42\xc8\x00\x00\x42\xc8\x00\x00")
    elif HABIT == "block #10":
        put(b"#10")
    elif HABIT == "block too short":
        put(b"#18\x42\xc8\x00\x00")
    elif HABIT == "block too long":
        put(b"#9999999999")
    elif HABIT == "block zero-padded":
        put(b"#800000008\x42\xc8\x00\x00\x42\xc8\x00\x00")
    else:
        put(b"#18\x42\xc8\x00\x00\x42\xc8\x00\x00")


def answer(line):
    if line == "*IDN?":
        put(b"NOBODY,TRAP,0,1")
    if "*OPC?" in line:
        if HABIT == "*OPC? answers 0" and state["busy"]:
            state["busy"] -= 1
            put(b"0")
        elif HABIT == "*OPC? answers 0 for ever":
            put(b"0")
        else:
            put(b"1")
    if "ERR?" in line:
        put(b'-113,"Undefined header"' if HABIT == "error queue never empties" else
            b'+0,"No error."')
    if line == "READ?":
        reading()
    if line.startswith("FETC?"):
        samples()


inbox = b""
while True:
    data = os.read(0, 4096)
    if not data:
        break
    inbox += data
    while b"\n" in inbox:
        one, inbox = inbox.split(b"\n", 1)
        answer(one.decode("latin-1").strip())
