#!/bin/sh
# Lobescribe against what a user would otherwise write, on the same bytes, on
# this machine, in one run; prints figures and ratios. Takes about five minutes.
# The computer should have nothing else to do: the load is printed.
#
#   sh testdata/against/run.sh            # everything
#   SECONDS_EACH=60 sh testdata/against/run.sh
#   NICE=-5 sh testdata/against/run.sh    # as root, where others are at work
#   LONG=1 sh testdata/against/run.sh     # also a real browser, imports and a full store
set -eu
cd "$(dirname "$0")/../.."
python=${PYTHON:-/usr/bin/python3}

missing=
"$python" -c 'import serial' 2>/dev/null || missing="$missing python3-serial"
"$python" -c 'import numpy' 2>/dev/null || missing="$missing python3-numpy"
"$python" -c 'import scipy' 2>/dev/null || missing="$missing python3-scipy"
command -v socat >/dev/null || missing="$missing socat"
if [ -n "$missing" ]; then
	echo "missing:$missing; on Debian: apt-get install$missing (or name another Python with PYTHON=)" >&2
	exit 1
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT INT TERM
go build -trimpath -ldflags "-s -w" -o "$work/lobescribe" ./cmd/lobescribe
nice -n "${NICE:-0}" "$python" testdata/against/compare.py "$work/lobescribe" "$work" "${SECONDS_EACH:-20}"

echo
echo "== The calculation alone, and the floor in Go"
go test ./capture/lift -run XXX -bench FindingsOfAMillion -benchtime 5x | grep Benchmark
go test ./device/lines/find -run XXX -bench Against | grep Benchmark
echo
echo "== From the start of the process to the page (goal: p50 20 ms)"
nice -n "${NICE:-0}" go test ./cmd/lobescribe -run XXX -bench 'Start$' -benchtime 20x | grep Benchmark
echo
echo "== From a tty's byte to the message at a browser's socket (goals: p99 20 ms batched, 5 ms lowest)"
nice -n "${NICE:-0}" go test ./cmd/lobescribe -run XXX -bench TTYToClient -benchtime 3000x | grep Benchmark
echo
echo "== How time, bytes and allocations grow with the length of a trace and the number of traces (goal: exponents of at most 1.05; the tests fail above)"
LOBESCRIBE_GROWTH=${GROWTH:-10000000} go test ./capture/lift -run GrowStraight -v | grep -vE '^(=== |PASS|ok)'
LOBESCRIBE_GROWTH=100000 go test ./storage -run DoNotGrow -v | grep -vE '^(=== |PASS|ok)'
if [ -n "${LONG:-}" ]; then # twenty minutes, two gigabytes of disk, and a chromium
	echo
	echo "== From the nose to the words in a real browser (goals: p99 250 ms from when it can be known; half lift to the tone 60 ms)"
	go test ./cmd/lobescribe -run XXX -bench FirstAnswer -benchtime 30x -timeout 1h | grep -E ' ms, of| readings a second'
	echo
	echo "== Import, the page's views and the start over a full store (goals: exponents of at most 1.05, views 1 s, start 20 ms)"
	LOBESCRIBE_GROWTH=1000000000 go test ./cmd/lobescribe -run XXX -bench ImportGrows -benchtime 1x -timeout 1h | grep bytes
	LOBESCRIBE_GROWTH=100000 go test ./cmd/lobescribe -run XXX -bench ViewsGrow -benchtime 1x -timeout 1h | grep -E ' ms|traces,'
fi
