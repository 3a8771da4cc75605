"""What the parts of documents_test.py share: which documents, how a check is told, and commands."""
import os
import re
import subprocess
import sys

PROGRAM, SOURCES = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
README = sys.argv[3] if len(sys.argv) > 3 else os.path.join(SOURCES, "README.md")
sys.path.insert(0, os.path.join(SOURCES, "tests", "hand"))
sys.dont_write_bytecode = True
os.environ["PINPROOF_LEDGER"] = "none"  # leaves nothing in anybody's home

WRITING = os.path.join(SOURCES, "profiles", "README.md")
BENCHES = os.path.join(SOURCES, "examples", "README.md")
FINDINGS = os.path.join(SOURCES, "examples", "FINDINGS.md")
EXAMPLE = os.path.join(SOURCES, "examples", "chart-nine-pin.json")
failures = []


def check(what, good, detail=""):
    print(("ok    " if good else "FAIL  ") + what + (" " + str(detail) if not good else ""),
          flush=True)
    if not good:
        failures.append(what)


def fences(text):
    """Language and lines of each fenced block, and where it starts."""
    for m in re.finditer(r"^( *)```(\w*)\n(.*?)^\1```", text, re.M | re.S):
        yield m.group(2), m.group(3), m.start()


def run(arguments, folder, **more):
    return subprocess.run([PROGRAM] + arguments, cwd=folder, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT, text=True, timeout=300, **more)
