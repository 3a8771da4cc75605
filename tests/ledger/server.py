"""A PostgreSQL server of the test's own, and a network in front of it that can be cut."""
import os
import select
import shutil
import socket
import struct
import subprocess
import threading
import time

from workbench import Violation, demand

BINARIES = "/usr/lib/postgresql/15/bin"


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as s:
        return s.getsockname()[1]


class Server:
    """A cluster in a folder of its own, with its safety (fsync) on."""

    def __init__(self, folder):
        self.folder = os.path.join(folder, "server")
        os.mkdir(self.folder)
        self.port = free_port()
        if os.geteuid() == 0:
            os.chmod(folder, 0o755)  # the server's user must get through
            shutil.chown(self.folder, "postgres")
        self.data = os.path.join(self.folder, "data")
        self.tool("initdb", "-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "-D",
                  self.data)
        self.start()

    def tool(self, name, *words):
        # As root the server refuses to run.
        user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        done = subprocess.run([*user, os.path.join(BINARIES, name), *words], cwd=self.folder,
                              stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                              stderr=subprocess.PIPE)
        demand(done.returncode == 0, "%s: %s" % (name, done.stderr.decode()))

    def start(self):
        self.tool("pg_ctl", "start", "-w", "-D", self.data, "-l",
                  os.path.join(self.folder, "log"), "-o", "-p %d -h 127.0.0.1 -k %s "
                  "-c max_connections=100" % (self.port, self.folder))

    def crash(self):
        self.tool("pg_ctl", "stop", "-m", "immediate", "-D", self.data)

    def sql(self, database, text):
        done = subprocess.run([os.path.join(BINARIES, "psql"), "-h", "127.0.0.1", "-p",
                               str(self.port), "-U", "postgres", "-XAtc", text, database],
                              stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                              stderr=subprocess.PIPE)
        demand(done.returncode == 0, "psql: " + done.stderr.decode())
        return [line.split("|") for line in done.stdout.decode().splitlines()]

    def until_ready(self):
        """After a killed backend the server starts again by itself."""
        end = time.monotonic() + 30
        while True:
            try:
                return self.sql("postgres", "SELECT 1")
            except Violation:
                if time.monotonic() > end:
                    raise
                time.sleep(0.1)

    def new_database(self, name):
        self.sql("postgres", "CREATE DATABASE " + name)
        return self.at(self.port, name)

    @staticmethod
    def at(port, name):
        return "postgresql://postgres@127.0.0.1:%d/%s" % (port, name)


class Network:
    """Stands between client and server. `how`: "reset" ends connections, "hole" swallows
    everything in silence. `at`: "connect", "start" (after some statements), "commit" (before
    the server gets it), "answer" (after it was carried out, before the client knows).
    `lasting`: connections that come after are treated in the same way."""

    def __init__(self, port, how, at, lasting, skip):
        self.port, self.how, self.at, self.lasting, self.skip = port, how, at, lasting, skip
        self.mended, self.hits, self.held, self.first_s = False, 0, [], None
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.here = self.listener.getsockname()[1]
        threading.Thread(target=self.serve, daemon=True).start()

    def cut(self):
        """Whether a new connection is cut at once."""
        return not self.mended and (self.at == "connect" or (self.hits > 0 and self.lasting))

    def serve(self):
        while True:
            client, _ = self.listener.accept()
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self.cut():
                self.hit(client)
                continue
            server = socket.create_connection(("127.0.0.1", self.port))
            server.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            threading.Thread(target=self.carry, args=(client, server), daemon=True).start()

    def hit(self, *ends):
        self.hits += 1
        self.first_s = self.first_s or time.monotonic()
        for end in ends:
            if self.how == "hole":
                self.held.append(end)  # stays open; nobody reads it
            else:
                end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                end.close()

    def due(self, statements, writing, data):
        if self.mended or (self.hits and not self.lasting):
            return False
        if self.at == "start":
            return statements > self.skip
        return writing and b"COMMIT" in data

    def carry(self, client, server):
        statements, writing = 0, False
        try:
            while True:
                for ready in select.select([client, server], [], [])[0]:
                    data = ready.recv(1 << 20)
                    if not data:
                        raise OSError
                    if ready is server:
                        client.sendall(data)
                        continue
                    statements += 1
                    writing = writing or b"INSERT INTO attempts" in data
                    if self.due(statements, writing, data):
                        if self.at == "answer":
                            server.sendall(data)
                            demand(b"COMMIT" in server.recv(1 << 16), "the server does not commit")
                        self.hit(client, server)
                        return
                    server.sendall(data)
        except OSError:
            client.close()
            server.close()
