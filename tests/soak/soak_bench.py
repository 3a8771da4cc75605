"""A simulated bench that can be killed and comes back on the same ports, with an unreliable link
to each of its instruments."""
import json
import os
import socket
import subprocess
import sys
import time

from unreliable_link import UnreliableLink

PROGRAM, SOURCES = sys.argv[1:3]
_next_port = 20000 + os.getpid() * 37 % 9000


def free_ports(count):
    """The first of so many, below those that the system hands out by itself."""
    global _next_port
    while True:
        first, _next_port = _next_port, _next_port + count
        try:
            for port in range(first, first + count):
                with socket.socket() as s:
                    s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                    s.bind(("127.0.0.1", port))
            return first
        except OSError:
            continue


def profile_file(name):
    return os.path.join(SOURCES, "profiles", name + ".json")


class SoakBench:
    def __init__(self, folder, name, profile, seed, fault=""):
        self.name, self.profile, self.good = name, profile, not fault
        self.file = os.path.join(folder, name + ".json")
        self.account = os.path.join(folder, name + ".account")
        self.starts, self.killed = 0, False
        self.command = [
            PROGRAM, "simulate", "--profile", profile_file(profile), "--seed", str(seed), "--speed",
            "0", "--dialects", os.path.join(SOURCES, "drivers", "dialects"), "--port",
            str(free_ports(5))] + (["--fault", fault] if fault else [])
        self.start()
        self.links = self.unreliable(folder)

    def start(self):
        """On a bench file of its own: the program keeps the first."""
        made = self.file + ".%d" % self.starts
        account = self.account + ".%d" % self.starts
        for _ in range(20):  # ports of a killed process may be in use for a moment
            self.process = subprocess.Popen(
                self.command + ["--bench-file", made, "--account", account],
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            end = time.monotonic() + 20
            while not os.path.exists(made) and self.process.poll() is None:
                if time.monotonic() > end:
                    raise RuntimeError("the simulated bench does not start")
                time.sleep(0.01)
            if self.process.poll() is None:
                break
            time.sleep(0.1)
        self.starts += 1
        self.account_now = account
        if self.starts == 1:
            os.rename(made, self.file)

    def unreliable(self, folder):
        with open(self.file) as f:
            description = json.load(f)
        links = {}
        for one in description["instruments"]:
            link = UnreliableLink(int(one["address"].rsplit(":", 1)[1]), self.kill)
            one["address"] = "tcp://127.0.0.1:%d" % link.port
            links[one["role"]] = link
        with open(os.path.join(folder, self.name + "-linked.json"), "w") as f:
            json.dump(description, f)
        return links

    def files(self):
        return [self.file, self.file.replace(".json", "-linked.json")]

    def kill(self):
        self.killed = True
        self.process.kill()

    def revive(self):
        if self.killed:
            self.process.wait()
            self.killed = False
            self.start()

    def is_on(self):
        """By its own account: the output of a bench that was killed is off."""
        try:
            with open(self.account_now) as f:
                lines = f.read().split("\n")[:-1]
        except FileNotFoundError:
            return False
        return bool(lines) and json.loads(lines[-1])["output"] == "on"

    def turns_off(self, within_s=2):
        end = time.monotonic() + within_s
        while self.is_on() and time.monotonic() < end:
            time.sleep(0.01)
        return not self.is_on()

    def close(self):
        self.process.kill()
        self.process.wait()


def bench_seconds(folder, profile, level, speed):
    """How long an inspection takes on a bench in real time, by one whose time runs `speed` times
    faster, less what the program itself takes."""
    took = {}
    for at in (0, speed):
        made = os.path.join(folder, "timed-%s-%s-%d.json" % (profile, level, at))
        dialects = ["--dialects", os.path.join(SOURCES, "drivers", "dialects")]
        bench = subprocess.Popen(
            [PROGRAM, "simulate", "--profile", profile_file(profile), "--seed", "7", "--speed",
             str(at), "--bench-file", made] + dialects, stdout=subprocess.DEVNULL)
        try:
            while not os.path.exists(made):
                time.sleep(0.01)
            begin = time.monotonic()
            code = subprocess.run(
                [PROGRAM, "inspect", "--profile", profile_file(profile), "--bench", made,
                 "--ledger", "none"] + dialects + (["--static"] if level == "static" else []),
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode
            took[at] = time.monotonic() - begin
            if code != 0:
                raise RuntimeError("a good pack's inspection ends with %d" % code)
        finally:
            bench.kill()
            bench.wait()
    return speed * (took[speed] - took[0])
