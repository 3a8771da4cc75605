"""What the sources say that documents must say too: keys that a loader asks for,
kinds of findings, messages of a failing bench. For documents_test.py."""
import glob
import os
import re
import sys

SOURCES = os.path.abspath(sys.argv[2])


def text_of(path):
    with open(path, encoding="utf-8") as f:
        return f.read()


def without_comments(path):
    return re.sub(r"//[^\n]*", "", text_of(path))


def sources(*patterns):
    for pattern in patterns:
        found = sorted(glob.glob(os.path.join(SOURCES, pattern)))
        if not found:
            raise FileNotFoundError("no source is named " + pattern)
        yield from found


ASKS = (r"(?:\.|->)(?:at|optional_at|text|optional_text|optional_texts|number|optional_number|"
        r"interval|optional_interval|word|optional_boolean)\(\s*\"(\w+)\"")


def keys_asked(*patterns):
    out = set()
    for path in sources(*patterns):
        code = without_comments(path)
        out |= set(re.findall(ASKS, code))
        out |= set(re.findall(r'load_map\(\w+, "(\w+)"\)', code))
    return out


HYPHENATED = re.compile(r"[a-z]+(?:-[a-z]+)+$")


def literals(code):
    return re.findall(r'"((?:[^"\\\n]|\\.)*)"', code)


def kinds_in_sources():
    out = set()
    for path in sources("src/inspection/checks/*.cpp", "src/diagnosis/faults/*.cpp",
                        "src/waveform/causes.cpp", "src/waveform/coil_figures.cpp",
                        "src/lever/gears.cpp", "src/lever/hazards.cpp",
                        "src/lever/line_faults.cpp", "src/report/diagnosis_json.cpp"):
        code = without_comments(path)
        no_kinds = set(re.findall(r'kName = "([^"]+)"', code))
        no_kinds |= set(re.findall(r'(?:aspect = |\bstart\()"([^"]+)"', code))  # of results
        out |= {l for l in literals(code) if HYPHENATED.match(l) and l not in no_kinds}
        for value in re.findall(r"(?:\bkind|renamed) = ([^;]*?);", code):
            out |= set(re.findall(r'"([a-z-]+)"', value))
        out |= set(re.findall(r'(?:Cause|FaultKind)\{\s*"([a-z-]+)"', code))
        out |= set(re.findall(r'Finding f\{"([a-z-]+)"', code))
    return out


def whole_call(code, start):
    depth, i = 0, start
    while i < len(code):
        if code[i] == '"':
            i += 1
            while code[i] != '"':
                i += 2 if code[i] == "\\" else 1
        elif code[i] == "(":
            depth += 1
        elif code[i] == ")":
            depth -= 1
            if depth == 0:
                return code[start:i + 1]
        i += 1
    return code[start:]


def messages_in_sources():
    """The longest piece of text of each error that is the bench's."""
    begins = re.compile(r"Error\(Fault::(?:bench|timeout|bad_reply)|"
                        r"lose\(Fault::(?:bench|timeout|bad_reply)|\blose\(\"")
    out = set()
    for path in sources("src/inspection/run/*.cpp", "src/inspection/judge/*.cpp", "src/bench/energise.cpp", "drivers/hand/*.cpp",
                        "drivers/scpi/*.cpp", "drivers/modbus/*.cpp", "drivers/link/*.cpp",
                        "drivers/link/stream.h", "drivers/sigrok/*.cpp"):
        code = without_comments(path)
        for m in begins.finditer(code):
            call = re.sub(r'"\s*\n\s*"', "", whole_call(code, m.start()))
            pieces = literals(call)
            if pieces:
                out.add(max(pieces, key=len).replace('\\"', '"').strip(" :;,("))
        for body in re.findall(r"why_ended\(\) (?:override )?\{(.*?)\n?\}\n", code, re.S):
            out |= set(literals(body))
    return {piece.strip() for piece in out} - {""}


def schemes():
    """What an address may begin with."""
    out = set()
    for path in sources("drivers/link/*.cpp", "drivers/modbus/context.cpp",
                        "drivers/sigrok/handheld.cpp"):
        code = without_comments(path)
        out |= set(re.findall(r'\.prefix = "(\w+):', code))
        out |= set(re.findall(r'constexpr std::string_view k(?:Scheme|Tcp|Rtu) = "([\w-]+):', code))
    return out


def outcomes():
    for path in sources("src/findings/verdict.cpp"):
        return set(re.findall(r'Outcome::\w+, "([\w-]+)"', text_of(path)))