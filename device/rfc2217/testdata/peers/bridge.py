"""A bridge from a serial port to telnet with RFC 2217, by pyserial's own port
manager. Says "ready" when it listens; one client after another.

    python3 bridge.py TTY PORT"""

import socket
import sys
import threading

import serial
import serial.rfc2217


class Port(serial.Serial):
    """A pseudo-tty has none of these lines, and pyserial raises for them."""

    cts = dsr = True
    ri = cd = False


class Client:
    """What the port manager writes to: the socket, one writer at a time."""

    def __init__(self, conn):
        self.conn, self.lock = conn, threading.Lock()

    def write(self, data):
        with self.lock:
            self.conn.sendall(data)


def serve(conn, port):
    client = Client(conn)
    manager = serial.rfc2217.PortManager(port, client)
    alive = True

    def out():
        while alive:
            data = port.read(port.in_waiting or 1)
            if data:
                try:
                    client.write(b"".join(manager.escape(data)))
                except OSError:
                    return

    reader = threading.Thread(target=out)
    reader.start()
    try:
        while data := conn.recv(1024):
            port.write(b"".join(manager.filter(data)))
    finally:
        alive = False
        reader.join()
        conn.close()


port = Port(sys.argv[1], timeout=0.1)
listener = socket.create_server(("127.0.0.1", int(sys.argv[2])))
print("ready", flush=True)
while True:
    serve(listener.accept()[0], port)
