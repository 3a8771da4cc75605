"""Between the program and the instruments of a bench: passes everything on, until it is told to do
harm to one reply. A changed digit is not among the harms: no program can see that one."""
import socket
import struct
import threading
import time

LATE_S = 7.0  # longer than the program waits for a reading
KINDS = ["delay", "late", "swallow", "cut", "reset", "half", "garble", "stray", "kill"]


class UnreliableLink:
    """One instrument's. `arm` harms the reply that comes after so many others, once."""

    def __init__(self, port, kill):
        self.target, self.kill = port, kill
        self.armed, self.left, self.fired = None, 0, threading.Event()
        self.lock = threading.Lock()
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self.accept, daemon=True).start()

    def arm(self, kind, after):
        with self.lock:
            self.armed, self.left = kind, after
            self.fired.clear()

    def disarm(self):
        with self.lock:
            self.armed = None

    def due(self):
        """The harm that this reply comes to, or None."""
        with self.lock:
            if not self.armed:
                return None
            self.left -= 1
            if self.left >= 0:
                return None
            kind, self.armed = self.armed, None
        self.fired.set()
        return kind

    def accept(self):
        while True:
            try:
                client, _ = self.listener.accept()
            except OSError:
                return
            try:
                server = socket.create_connection(("127.0.0.1", self.target), timeout=5)
            except OSError:  # the bench is down
                client.close()
                continue
            for s in (client, server):
                s.settimeout(None)
                s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            threading.Thread(target=self.requests, args=(client, server), daemon=True).start()
            threading.Thread(target=self.replies, args=(client, server), daemon=True).start()

    @staticmethod
    def end(*sockets):
        for s in sockets:
            try:
                s.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass

    def requests(self, client, server):
        try:
            while data := client.recv(65536):
                server.sendall(data)
        except OSError:
            pass
        self.end(client, server)
        server.close()

    def replies(self, client, server):
        try:
            while data := server.recv(1 << 20):
                kind = self.due()
                if kind and not self.harm(kind, data, client):
                    break
                if not kind:
                    client.sendall(data)
        except OSError:
            pass
        self.end(client, server)
        client.close()

    def harm(self, kind, data, client):
        """-> whether the connection goes on."""
        if kind in ("delay", "late"):
            time.sleep(LATE_S if kind == "late" else 0.3)
            client.sendall(data)
        elif kind == "garble":
            client.sendall(bytes(b if b in b"\r\n" else 0x80 | b for b in data))
        elif kind == "stray":  # a line too many, before the reply
            client.sendall(b"\xff\xfe?\n" + data)
        elif kind == "half":
            client.sendall(data[:len(data.rstrip()) // 2])
        elif kind == "reset":
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            client.close()
        elif kind == "kill":
            self.kill()
        return kind in ("delay", "late", "garble", "stray", "swallow")
