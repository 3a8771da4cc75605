"""The whole of `pinproof screen` as a clumsy network, an attacker and a hostile label printer see
it. Usage: screen_test.py PINPROOF SOURCES [PART ...]"""
import sys
import tempfile
import time

from http_client import check, failures

PARTS = ["timing", "latency", "rights", "nonsense", "names", "ends"]


def part(name):
    module = __import__("screen_" + ("timing" if name == "latency" else name))
    begin = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        try:
            getattr(module, name)(folder)
        except Exception as e:  # the other parts are tried all the same
            import traceback
            traceback.print_exc()
            check(name + " runs to its end", False, repr(e))
    print("      %s: %.1f s" % (name, time.monotonic() - begin), flush=True)


for wanted in sys.argv[3:] or PARTS:
    part(wanted)
print("%d failed" % len(failures))
sys.exit(1 if failures else 0)
