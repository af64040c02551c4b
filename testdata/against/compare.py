"""Runs Lobescribe and what a user would otherwise write on the same bytes and
prints figures and ratios. See run.sh."""

import json
import math
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import termios
import time
import tty

HERE = os.path.dirname(os.path.abspath(__file__))


def lifts(count, rate):
    """A lobe of 10.668 mm every five seconds with 3 µm of noise, in steps of
    1 µm: invented, and the same for all."""
    noise = random.Random(1)
    for i in range(count):
        at = i / rate % 5
        up = 0.5 - 0.5 * math.cos(math.tau * (at - 1) / 3) if 1 < at < 4 else 0.0
        yield round(10.668 * up + noise.gauss(0, 0.003), 3)


def cpu(pid):
    """Seconds of processor a process has had: to the nanosecond, unlike stat."""
    total = 0
    for task in os.listdir(f"/proc/{pid}/task"):
        with open(f"/proc/{pid}/task/{task}/schedstat") as f:
            total += int(f.read().split()[0])
    return total / 1e9


def resident(pid):
    with open(f"/proc/{pid}/status") as f:
        return next(int(l.split()[1]) / 1024 for l in f if l.startswith("VmRSS"))


def feed(master, rate, seconds, warm, pid):
    """Writes a line a reading, for warm seconds and then for so many more;
    returns what the reader spent in these."""
    began, before = time.monotonic(), None
    for i, lift in enumerate(lifts(int((warm + seconds) * rate), rate)):
        wait = began + i / rate - time.monotonic()
        if wait > 0:
            time.sleep(wait)
        if before is None and i >= warm * rate:
            before = cpu(pid)
        os.write(master, b"%.3f mm\r\n" % lift)
    return cpu(pid) - before


def capture(argv, rate, seconds, out):
    """Runs a reader of a tty while it is fed; what it says goes to out."""
    master, slave = os.openpty()
    tty.setraw(slave, termios.TCSANOW)
    name = os.ttyname(slave)
    with open(out, "wb") as f, open(os.devnull, "rb") as nothing:
        p = subprocess.Popen([a.replace("TTY", name) for a in argv], stdin=nothing, stdout=f, stderr=subprocess.DEVNULL)
    try:
        time.sleep(1.5)  # it has the port open
        spent = feed(master, rate, seconds, 4, p.pid)
        time.sleep(0.5)  # it has taken the last of it
        memory = resident(p.pid)
    finally:
        p.send_signal(signal.SIGINT)
        p.wait(60)
        os.close(master)
        os.close(slave)
    return spent, memory


def captures(binary, work, rate, seconds):
    print(f"\n== The whole capture path, tty to durable store, {rate} readings a second for {seconds} s, processor time")
    where = lambda n: os.path.join(work, f"{rate}-{n}")
    address = "serial:TTY?baud=115200&format=unit-behind"
    runs = {
        "cat to a file": ["cat", "TTY"],
        "socat to a file": ["socat", "-u", "FILE:TTY,raw,echo=0", "-"],
        "lobescribe record --save": [binary, "record", "--indicator", address, "--save", "--data", where("record")],
        "lobescribe serve": [binary, "serve", "--addr", "127.0.0.1:0", "--indicator", address, "--data", where("serve")],
        "Python, python3-serial into SQLite": [sys.executable, os.path.join(HERE, "capture.py"), "TTY", where("py.sqlite")],
    }
    spent = {}
    for name, argv in runs.items():
        spent[name], memory = capture(argv, rate, seconds, where("out"))
        print(f"{name:36} {100 * spent[name] / seconds:6.2f} % of a core {1e6 * spent[name] / seconds / rate:7.1f} µs a reading {memory:5.0f} MB resident")
    rows = sqlite3.connect(where("py.sqlite")).execute("select count(*) from readings").fetchone()[0]
    for name in ("record", "serve"):
        stored = json.loads(subprocess.check_output([binary, "traces", "--json", "--data", where(name)]))
        kept = sum(t["readings"] for t in stored)
        whole = (seconds + 4) * rate
        print(f"kept: {name} {kept} of {whole}, Python {rows}")
    for name in ("lobescribe record --save", "lobescribe serve"):
        print(f"{name}: 1/{spent['Python, python3-serial into SQLite'] / spent[name]:.1f} of Python (goal 1/20), "
              f"{spent[name] / spent['cat to a file']:.1f} times cat (goal {2 if rate == 100 else 3})")


def size(path):
    """Bytes in a file, or the files of a folder, and bytes that the disk gives
    them: pages of a store that were never written take none."""
    files = [os.path.join(d, f) for d, _, fs in os.walk(path) for f in fs] or [path]
    stats = [os.stat(f) for f in files]
    return sum(s.st_size for s in stats), sum(512 * s.st_blocks for s in stats)


def timed(argv):
    """Wall and processor seconds of a command, the best of three, and what it says."""
    best = None
    for _ in range(3):
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
        out = subprocess.run(argv, check=True, stdout=subprocess.PIPE).stdout
        wall, after = time.monotonic() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        if best is None or wall < best[0]:
            best = wall, used, out
    return best


def stored(binary, work, rate, count, csv):
    data, db = os.path.join(work, f"million-{rate}"), os.path.join(work, f"million-{rate}.sqlite")
    with open(csv, "w") as f:
        f.write("t_s,lift_mm\n")
        for i, lift in enumerate(lifts(count, rate)):
            f.write(f"{i / rate:.6f},{lift:.3f}\n")
    subprocess.run([binary, "import", csv, "--data", data], check=True, stdout=subprocess.DEVNULL)
    with sqlite3.connect(db) as c:
        c.execute("create table readings (t real, lift real)")
        c.executemany("insert into readings values (?, ?)", ((i / rate, l) for i, l in enumerate(lifts(count, rate))))
    os.sync()  # what is not written yet has no place on the disk
    for what, ours, plain, lite in zip(("in the file", "on the disk"), size(data), size(csv), size(db)):
        print(f"{count} readings at {rate} a second, bytes a reading {what}: {ours / count:.2f}; CSV {plain / count:.1f} ({plain / ours:.1f} times as much, goal 8), "
              f"SQLite {lite / count:.1f} ({lite / ours:.1f} times, goal 6)")


def findings(binary, csv):
    print("\n== Findings of 1,000,000 readings in a CSV file")
    ours, ours_cpu, out = timed([binary, "analyse", csv, "--json"])
    mine = json.loads(out)
    theirs, theirs_cpu, out = timed([sys.executable, os.path.join(HERE, "findings.py"), csv, "5"])
    other = json.loads(out)
    once, once_cpu, _ = timed([sys.executable, os.path.join(HERE, "findings.py"), csv])
    print(f"lobescribe analyse: {ours:.2f} s, {ours_cpu:.2f} s of processor; {len(mine['openings'])} openings, max lift {mine['max_lift_mm']:.4f} mm")
    print(f"SciPy, whole script: {once:.2f} s, {once_cpu:.2f} s of processor; {len(other['openings'])} openings, max lift {other['max_lift_mm']:.4f} mm")
    print(f"SciPy takes {once / ours:.1f} times as long, {once_cpu / ours_cpu:.1f} times the processor time (goal 10); SciPy's calculation alone, savgol and find_peaks: {1e3 * other['calculation_s']:.0f} ms")


def main():
    # What is ignored here is ignored by what is started from here, and readers
    # are ended by SIGINT: a shell ignores it for what it runs in the background.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    binary, work, seconds = sys.argv[1], sys.argv[2], int(sys.argv[3])
    print(f"load before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for rate in (100, 1000):
        captures(binary, work, rate, seconds)
    print("\n== On disk")
    for rate in (1000, 100):
        stored(binary, work, rate, 1_000_000, os.path.join(work, f"{rate}.csv"))
    findings(binary, os.path.join(work, "1000.csv"))
    print(f"\n== The program: {os.path.getsize(binary) / 1e6:.1f} MB (goal 40)")
    print(f"load after: {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
