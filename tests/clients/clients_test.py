"""Programs that we did not write as clients of the simulated bench, over TCP and
over a pseudo-terminal: sigrok-cli, pyvisa with pyvisa-py, lxi, mbpoll. Each must
find the instrument and read the reference resistor, 100 ohm.
Usage: clients_test.py PINPROOF SOURCES PTY_SHIM"""
import json
import os
import re
import subprocess
import sys
import tempfile
import time

import pyvisa

os.environ.setdefault("PINPROOF_LEDGER", "none")  # leaves nothing in anybody's home

PROGRAM, SOURCES, SHIM = sys.argv[1:4]
PROFILE = os.path.join(SOURCES, "profiles", "six-speed-20-pin.json")
PLUS, MINUS = 22, 23  # columns of the reference resistor behind 20 pins and the case
failures = []


def check(what, good, detail=""):
    print("%s  %s  %s" % ("ok  " if good else "FAIL", what, detail), flush=True)
    if not good:
        failures.append(what)


def run(*command, environment=None):
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=60,
                          env=dict(os.environ, **(environment or {})))
    return done.returncode, done.stdout.decode("utf-8", "replace")


def wait_for(path):
    for _ in range(500):
        if os.path.exists(path):
            return
        time.sleep(0.02)
    raise RuntimeError(path + " does not come")


def until_listening(port):
    """Without a connection of one's own: the bridge takes one only."""
    wanted = re.compile(r"^ *\d+: [0-9A-F]{8}:%04X \S+ 0A " % port, re.M)
    for _ in range(1000):
        with open("/proc/net/tcp") as table:
            if wanted.search(table.read()):
                return
        time.sleep(0.01)
    raise TimeoutError("nobody listens on %d" % port)


def about(text, wanted, within):
    number = re.search(r"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?", text)
    return number is not None and abs(float(number.group(0)) - wanted) <= within


class Bench:
    def __init__(self, folder, on_pty, more=()):
        path = os.path.join(folder, "bench.json")
        if os.path.exists(path):
            os.remove(path)
        self.process = subprocess.Popen(
            [PROGRAM, "simulate", "--profile", PROFILE, "--speed", "0", "--bench-file", path,
             "--dialect", "meter=meter-34401a", "--dialect", "supply=supply-dp800",
             *(["--pty", "meter", "--pty", "supply"] if on_pty else []), *more],
            stdout=subprocess.DEVNULL)
        wait_for(path)
        with open(path) as f:
            self.instruments = {i["role"]: i["address"] for i in json.load(f)["instruments"]}

    def port(self, role):
        return self.instruments[role].rsplit(":", 1)[1]

    def line(self, role):
        return self.instruments[role][len("serial://"):].split("?")[0]

    def close(self):
        self.process.kill()
        self.process.wait()


def visa(manager, resource):
    return manager.open_resource(resource, read_termination="\n", write_termination="\n",
                                 timeout=5000)


def touch_reference(manager, bench):
    matrix = visa(manager, "TCPIP0::127.0.0.1::%s::SOCKET" % bench.port("matrix"))
    closed = ",".join("%d!%d" % pair for pair in ((1, PLUS), (3, PLUS), (2, MINUS), (4, MINUS)))
    matrix.write("ROUT:OPEN:ALL;:ROUT:CLOS (@%s)" % closed)
    check("pyvisa: matrix closes four relays", matrix.query("ROUT:CLOS? (@%s)" % closed) ==
          "1,1,1,1")
    matrix.close()


def with_sigrok(where, meter, supply, environment):
    code, text = run("sigrok-cli", "-d", "scpi-dmm:" + meter, "--config",
                     "measured_quantity=resistance/four_wire", "--samples", "3",
                     environment=environment)
    lines = [l for l in text.splitlines() if l.startswith("P1:")]
    check(where + ": sigrok-cli scpi-dmm", code == 0 and len(lines) == 3 and
          all(about(l[3:], 100, 0.05) and re.search("[\u03a9\u2126] 4-WIRE$", l) for l in lines),
          " | ".join(lines) if lines else text)
    code, text = run("sigrok-cli", "-d", "scpi-pps:" + supply, "-g", "1", "--config",
                     "voltage_target=13.8:current_limit=1.5:enabled=true", "--set",
                     environment=environment)
    check(where + ": sigrok-cli scpi-pps sets", code == 0, text)
    code, text = run("sigrok-cli", "-d", "scpi-pps:" + supply, "--samples", "1",
                     environment=environment)
    check(where + ": sigrok-cli scpi-pps reads 13.8 V", code == 0 and "V1: 13.8" in text,
          text.splitlines()[0] if text else "")


def with_visa(where, manager, meter, supply):
    instrument = visa(manager, meter)
    check(where + ": pyvisa *IDN?", instrument.query("*IDN?").startswith("HEWLETT-PACKARD,34401A"))
    reading = instrument.query("MEAS:FRES? 100")
    check(where + ": pyvisa reads the resistor", about(reading, 100, 0.05), reading)
    instrument.write("CONF:FRES 100;:FRES:NPLC 10")
    readings = [float(instrument.query("READ?")) for _ in range(5)]
    check(where + ": pyvisa CONF and READ?", all(abs(r - 100) < 0.05 for r in readings))
    instrument.close()
    instrument = visa(manager, supply)
    state = [instrument.query(q) for q in ("OUTP?", "VOLT?", "CURR?")]
    check(where + ": pyvisa sees what sigrok-cli has set", state[0] == "1" and
          float(state[1]) == 13.8 and float(state[2]) == 1.5, str(state))
    instrument.write("OUTP OFF")
    check(where + ": pyvisa switches off", instrument.query("OUTP?") == "0")
    instrument.close()


def with_lxi(where, port, line=None):
    def lxi(*arguments):
        bridge = None
        if line:  # lxi knows sockets only; one bridge a call, since two would share the line
            bridge = subprocess.Popen(["socat", "tcp-listen:%s,bind=127.0.0.1,reuseaddr,nodelay" %
                                       port, "file:%s,rawer" % line])
            until_listening(int(port))
        try:
            return run("lxi", arguments[0], "-a", "127.0.0.1", "-p", port, "-r", *arguments[1:])
        finally:
            if bridge:
                bridge.terminate()
                bridge.wait()

    def ask(text):
        return lxi("scpi", text)

    code, text = ask("*IDN?")
    check(where + ": lxi *IDN?", code == 0 and text.startswith("HEWLETT-PACKARD,34401A"))
    code, text = ask("MEAS:FRES? 100")
    check(where + ": lxi reads the resistor", code == 0 and about(text, 100, 0.05), text.strip())
    code, text = lxi("benchmark", "-c", "2000")
    result = re.search(r"Result: ([0-9.]+) requests/second", text)
    check(where + ": lxi benchmark", code == 0 and result is not None,
          result.group(0) if result else text[-200:])


def with_mbpoll(where, address):
    """Closes relay (row 1, column 5), reads it back, opens it."""
    relay = str(1 + 5)  # mbpoll counts from 1
    code, text = run("mbpoll", *address, "1")
    check(where + ": mbpoll closes a relay", code == 0 and "Written 1" in text)
    code, text = run("mbpoll", *[a for a in address], "-c", "3", "-1")
    check(where + ": mbpoll reads it back", code == 0 and
          re.search(r"\[%s\]:\s+1" % relay, text) is not None, "")
    code, text = run("mbpoll", *address, "0")
    check(where + ": mbpoll opens it", code == 0 and "Written 1" in text)


def mbpoll_tcp(port):
    return ["-m", "tcp", "-p", port, "-a", "1", "-t", "0", "-r", "6", "127.0.0.1"]


def mbpoll_rtu(path):
    return ["-m", "rtu", "-b", "9600", "-P", "none", "-a", "1", "-t", "0", "-r", "6", path]


def over_tcp(manager, folder):
    bench = Bench(folder, False, ["--connect", "modbus"])
    with open(os.path.join(folder, "bench.json")) as f:
        matrix = [i for i in json.load(f)["instruments"] if i["role"] == "matrix"][0]
    with_mbpoll("TCP", mbpoll_tcp(matrix["address"].rsplit(":", 1)[1]))
    bench.close()
    bench = Bench(folder, False)
    touch_reference(manager, bench)
    meter, supply = bench.port("meter"), bench.port("supply")
    with_sigrok("TCP", "conn=tcp-raw/127.0.0.1/" + meter, "conn=tcp-raw/127.0.0.1/" + supply, None)
    with_visa("TCP", manager, "TCPIP0::127.0.0.1::%s::SOCKET" % meter,
              "TCPIP0::127.0.0.1::%s::SOCKET" % supply)
    with_lxi("TCP", meter)
    bench.close()


def through_sigrok(folder, faults, path=None):
    """The whole way: our driver, sigrok-cli, the simulated meter."""
    bench = Bench(folder, False, sum((["--fault", f] for f in faults), []))
    with open(os.path.join(folder, "bench.json")) as f:
        description = json.load(f)
    for i in description["instruments"]:
        if i["role"] == "meter":
            i["driver"] = "sigrok-cli"
            i.pop("dialect")
            i["address"] = ("sigrok:scpi-dmm:conn=tcp-raw/127.0.0.1/%s?measured_quantity=resistance"
                            % bench.port("meter"))
    with open(os.path.join(folder, "sigrok.json"), "w") as f:
        json.dump(description, f)
    done = run(PROGRAM, "inspect", "--profile", PROFILE, "--bench",
               os.path.join(folder, "sigrok.json"), "--static", "--celsius", "23",
               environment={"PATH": path} if path is not None else None)
    bench.close()
    return done


def own_driver(folder):
    code, text = through_sigrok(folder, [])
    check("a good pack through sigrok-cli: accept", code == 0, text.splitlines()[0])
    code, text = through_sigrok(folder, ["coil B: shorted-turns 20%"])
    check("shorted turns through sigrok-cli: reject", code == 1, text.splitlines()[0])
    code, text = through_sigrok(folder, [], "/nowhere")
    check("without sigrok-cli: says what to install", code == 4 and
          "sigrok-cli is not installed" in text and "apt install sigrok-cli" in text, text.strip())


def over_pty(manager, folder):
    ours, theirs = os.path.join(folder, "ours"), os.path.join(folder, "theirs")
    cable = subprocess.Popen(["socat", "pty,rawer,link=" + ours, "pty,rawer,link=" + theirs])
    wait_for(theirs)
    bench = Bench(folder, True, ["--relays", "modbus-rtu://%s?baud=9600" % ours])
    with_mbpoll("pseudo-terminal", mbpoll_rtu(theirs))
    touch_reference(manager, bench)
    meter, supply = bench.line("meter"), bench.line("supply")
    with_sigrok("pseudo-terminal", "conn=%s:serialcomm=9600/8n1" % meter,
                "conn=%s:serialcomm=9600/8n1" % supply, {"LD_PRELOAD": SHIM})
    with_visa("pseudo-terminal", manager, "ASRL%s::INSTR" % meter, "ASRL%s::INSTR" % supply)
    with_lxi("pseudo-terminal", "19790", meter)
    cable.terminate()
    cable.wait()
    bench.close()


with tempfile.TemporaryDirectory() as work:
    visas = pyvisa.ResourceManager("@py")
    over_tcp(visas, work)
    over_pty(visas, work)
    own_driver(work)
print("%d failures" % len(failures))
sys.exit(1 if failures else 0)
