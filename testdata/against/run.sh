#!/bin/sh
# Lobescribe against what a user would otherwise write, on the same bytes, on
# this machine, in one run; prints figures and ratios. Takes about nine minutes.
# The computer should have nothing else to do: the load is printed with each part.
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
if [ -n "${LONG:-}" ]; then # a real browser, and the page's libraries
	command -v "${CHROMIUM:-chromium}" >/dev/null || command -v chromium-browser >/dev/null || command -v google-chrome >/dev/null || missing="$missing chromium"
	if [ ! -e dashboard/page/lib/preact.js ]; then
		echo "the page's libraries are missing: go generate ./..." >&2
		exit 1
	fi
fi
if [ -n "$missing" ]; then
	echo "missing:$missing; on Debian: apt-get install$missing (or name another Python with PYTHON=)" >&2
	exit 1
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT INT TERM
nicely="nice -n ${NICE:-0}"
failed=

part() {
	echo
	echo "== $1"
	echo "   at $(date +%T), load $(cut -d' ' -f1-2 /proc/loadavg 2>/dev/null || echo unknown)"
}

# shown PATTERN COMMAND... prints the lines of what a command says that match; of one
# that fails, or says none of them, all that it said, and the script fails at its end.
shown() {
	pattern=$1
	shift
	if "$@" >"$work/said" 2>&1 && grep -E "$pattern" "$work/said"; then
		return
	fi
	cat "$work/said"
	failed="$failed
	$*"
}

go build -trimpath -ldflags "-s -w" -o "$work/lobescribe" ./cmd/lobescribe
$nicely "$python" testdata/against/compare.py "$work/lobescribe" "$work" "${SECONDS_EACH:-20}"

part "The calculation alone, and the floor in Go"
shown ^Benchmark go test ./capture/lift -run XXX -bench FindingsOfAMillion -benchtime 5x
shown ^Benchmark go test ./device/lines/find -run XXX -bench Against
part "From the start of the process to the page (goal: p50 20 ms)"
shown ^Benchmark $nicely go test ./cmd/lobescribe -run XXX -bench 'Start$' -benchtime 20x
part "From a tty's byte to the message at a browser's socket (goals: p99 20 ms batched, 5 ms lowest)"
shown ^Benchmark $nicely go test ./cmd/lobescribe -run XXX -bench TTYToClient -benchtime 3000x
part "How time, bytes and allocations grow with the length of a trace and the number of traces (goal: exponents of at most 1.05; the tests fail above)"
shown '^ ' env LOBESCRIBE_GROWTH="${GROWTH:-10000000}" go test ./capture/lift -run GrowStraight -v
shown '^ ' env LOBESCRIBE_GROWTH=100000 go test ./storage -run DoNotGrow -v
if [ -n "${LONG:-}" ]; then # half an hour, two gigabytes of disk, and a chromium
	part "From the nose to the words in a real browser (goals: p99 250 ms from when it can be known; half lift to the tone 60 ms)"
	shown ' ms, of| readings a second' go test ./cmd/lobescribe -run XXX -bench FirstAnswer -benchtime 30x -timeout 1h
	part "Import, the page's views and the start over a full store (goals: exponents of at most 1.05, views 1 s, start 20 ms)"
	shown bytes env LOBESCRIBE_GROWTH=1000000000 go test ./cmd/lobescribe -run XXX -bench ImportGrows -benchtime 1x -timeout 1h
	shown ' ms|traces,' env LOBESCRIBE_GROWTH=100000 go test ./cmd/lobescribe -run XXX -bench ViewsGrow -benchtime 1x -timeout 1h
	part "The end"
fi
if [ -n "$failed" ]; then
	echo "failed, or said nothing of what was asked:$failed" >&2
	exit 1
fi
