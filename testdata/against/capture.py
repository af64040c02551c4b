"""The script a user would write: read lines off a serial port with pyserial,
put them into SQLite. One commit a second: kinder than one a line."""

import sqlite3
import sys
import time

import serial

port = serial.Serial(sys.argv[1], 115200, timeout=0.5)
db = sqlite3.connect(sys.argv[2])
db.execute("create table readings (t real, lift real)")
began = committed = time.monotonic()
try:
    while True:
        line = port.readline()
        now = time.monotonic()
        if line:
            try:
                lift = float(line.split()[0])
            except (IndexError, ValueError):
                continue
            db.execute("insert into readings values (?, ?)", (now - began, lift))
        if now - committed >= 1:
            db.commit()
            committed = now
except KeyboardInterrupt:
    db.commit()
