"""What a reading costs in processor time, of cat, of Python into SQLite and of
Lobescribe's binaries, all at work at the same time and fed in turn: whatever else
the computer does then hits all alike, where runs one after the other differ by a
third. For holding two builds against each other.

    python3 testdata/against/beside.py READINGS_A_SECOND SECONDS ROUNDS BINARY...
"""

import os
import signal
import statistics
import subprocess
import sys
import tempfile
import termios
import time
import tty

import compare

WARM = 4  # seconds before anything counts


def readers(binaries):
    address = "serial:TTY?baud=115200&format=unit-behind"
    yield "cat", ["cat", "TTY"]
    yield "Python", [sys.executable, os.path.join(compare.HERE, "capture.py"), "TTY", "DATA.sqlite"]
    for b in binaries:
        yield b + " record", [b, "record", "--indicator", address, "--save", "--data", "DATA"]
        yield b + " serve", [b, "serve", "--addr", "127.0.0.1:0", "--indicator", address, "--data", "DATA"]


def once(all, rate, seconds, work):
    """Microseconds of processor a reading, by name."""
    running = []
    for i, (name, argv) in enumerate(all):
        master, slave = os.openpty()
        tty.setraw(slave, termios.TCSANOW)
        data = os.path.join(work, str(i))
        argv = [a.replace("TTY", os.ttyname(slave)).replace("DATA", data) for a in argv]
        with open(data + ".out", "wb") as out:
            running.append((name, master, slave, subprocess.Popen(argv, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.DEVNULL)))
    time.sleep(1.5)  # they have their ports open
    began, before = time.monotonic(), None
    for i, lift in enumerate(compare.lifts((WARM + seconds) * rate, rate)):
        if before is None and i >= WARM * rate:
            before = [compare.cpu(p.pid) for _, _, _, p in running]
        for k, (_, master, _, _) in enumerate(running):
            wait = began + (i + k / len(running)) / rate - time.monotonic()
            if wait > 0:
                time.sleep(wait)
            os.write(master, b"%.3f mm\r\n" % lift)
    spent = {r[0]: 1e6 * (compare.cpu(r[3].pid) - was) / seconds / rate for r, was in zip(running, before)}
    for _, master, slave, p in running:
        p.send_signal(signal.SIGINT)
        p.wait(60)
        os.close(master)
        os.close(slave)
    return spent


def main():
    signal.signal(signal.SIGINT, signal.default_int_handler)
    rate, seconds, rounds = map(int, sys.argv[1:4])
    all = list(readers(sys.argv[4:]))
    print(f"load before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    got = []
    for r in range(rounds):
        with tempfile.TemporaryDirectory() as work:
            got.append(once(all[r % len(all):] + all[: r % len(all)], rate, seconds, work))
    for name, _ in all:
        each = [g[name] for g in got]
        cat, python = [g[name] / g["cat"] for g in got], [g["Python"] / g[name] for g in got]
        print(f"{name:40} {statistics.median(each):6.1f} µs a reading, {statistics.median(cat):.2f} times cat ({min(cat):.2f} to {max(cat):.2f}), 1/{statistics.median(python):.1f} of Python")
    print(f"load after: {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
