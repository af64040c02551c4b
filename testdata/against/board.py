"""What a small board would spend, from an emulator: the daemon built for arm64 under
qemu-user, beside cat under the same emulator, on the same bytes of a tty. The
emulator is some times slower than this processor and no board; what counts is the
ratio to the emulated cat. See DEVELOPERS.md.

    python3 testdata/against/board.py LOBESCRIBE_ARM64 BUSYBOX_ARM64 [SECONDS]
"""

import base64
import os
import re
import signal
import socket
import sys
import tempfile
import threading
import time

from compare import capture

ADDRESS = "serial:TTY?baud=115200&format=unit-behind"


def page(out, stop):
    """One page: its socket, read until told to stop."""
    while not (m := re.search(rb"http://([0-9.]+:\d+)/", open(out, "rb").read())):
        time.sleep(0.1)
    host = m[1].decode()
    name, port = host.split(":")
    s = socket.create_connection((name, int(port)))
    key = base64.b64encode(os.urandom(16)).decode()
    s.sendall((f"GET /api/v1/live HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nUpgrade: websocket\r\n"
               f"Connection: Upgrade\r\nSec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n").encode())
    s.settimeout(0.3)
    while not stop.is_set():
        try:
            s.recv(65536)
        except TimeoutError:
            pass


def main():
    signal.signal(signal.SIGINT, signal.default_int_handler)
    emulator, seconds = "qemu-aarch64-static", int(sys.argv[3]) if len(sys.argv) > 3 else 20
    binary, busybox = sys.argv[1:3]
    print(f"load before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for rate in (20, 50, 100):
        cat = None
        for name, argv, watched in (
            ("cat", [emulator, busybox, "cat", "TTY"], False),
            ("record", [emulator, binary, "record", "--indicator", ADDRESS, "--save", "--data", "DATA"], False),
            ("serve", [emulator, binary, "serve", "--addr", "127.0.0.1:0", "--indicator", ADDRESS, "--data", "DATA"], False),
            ("serve, a page open", [emulator, binary, "serve", "--addr", "127.0.0.1:0", "--indicator", ADDRESS, "--data", "DATA"], True),
        ):
            with tempfile.TemporaryDirectory() as work:
                out, stop = os.path.join(work, "out"), threading.Event()
                open(out, "wb").close()
                looking = threading.Thread(target=page, args=(out, stop))
                if watched:
                    looking.start()
                spent, memory = capture([a.replace("DATA", os.path.join(work, "data")) for a in argv], rate, seconds, out)
                stop.set()
                if watched:
                    looking.join()
            cat = cat or spent
            print(f"{rate:4} a second, {name:20} {100 * spent / seconds:6.2f} % of a core, {spent / cat:5.1f} times the emulated cat, {memory:4.0f} MB resident", flush=True)


if __name__ == "__main__":
    main()
