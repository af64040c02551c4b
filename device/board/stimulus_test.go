package board

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	frequency = 16_000_000 // cycles a second
	turn      = 2400       // edges
)

// change is a pin that moves, or a new figure of the indicator that is asked.
type change struct {
	cycle int64
	pin   byte
	value string
}

// stimulus is what happens at the board's pins, and what is true meanwhile.
type stimulus struct {
	changes []change
	edges   []int64 // cycles of the encoder's edges
	counts  []int64 // the count after each
	frames  []int64 // cycles of the first clock of each frame
	count   int64
}

func (s *stimulus) move(cycle int64, pin byte, level int64) {
	s.changes = append(s.changes, change{cycle, pin, strconv.FormatInt(level, 10)})
}

// edge moves the encoder by a count. A leads, and the index is up while the
// count is a multiple of a turn.
func (s *stimulus) edge(cycle, by int64) {
	a := func(n int64) int64 { return ((n + 1) >> 1) & 1 }
	b := func(n int64) int64 { return (n >> 1) & 1 }
	was := s.count
	s.count += by
	if a(was) != a(s.count) {
		s.move(cycle, 'A', a(s.count))
	} else {
		s.move(cycle, 'B', b(s.count))
	}
	if was%turn == 0 || s.count%turn == 0 {
		s.move(cycle, 'Z', map[bool]int64{true: 1}[s.count%turn == 0])
	}
	s.edges, s.counts = append(s.edges, cycle), append(s.counts, s.count)
}

// frame clocks out the lowest bits of v, as an indicator of the two-wire kind
// does of its own accord: the data stands at the clock's rising edge.
func (s *stimulus) frame(cycle int64, v uint32, bits int, period int64) {
	s.frames = append(s.frames, cycle)
	for i := range bits {
		at := cycle + int64(i)*period
		s.move(at-period/4, 'D', int64(v>>i&1))
		s.move(at, 'C', 1)
		s.move(at+period/2, 'C', 0)
	}
}

// countAt returns the true count at a cycle.
func (s *stimulus) countAt(cycle int64) int64 {
	i, _ := slices.BinarySearch(s.edges, cycle+1)
	if i == 0 {
		return 0
	}
	return s.counts[i-1]
}

// near reports whether an edge came so close before a cycle that its interrupt
// may still wait.
func (s *stimulus) near(cycle int64) bool {
	i, _ := slices.BinarySearch(s.edges, cycle+1)
	return i > 0 && cycle-s.edges[i-1] < 400
}

// said is what the board said, and the emulator of it.
type said struct {
	bytes   []byte
	at      []int64 // cycle of each byte
	latched []int64 // cycles at which the indicator that is asked took its figure
	stats   map[string]int64
}

// line is one line of the board.
type line struct {
	text string
	at   int64 // cycle of its last byte
}

func (s said) lines() (out []line) {
	from := 0
	for i, b := range s.bytes {
		if b == '\n' {
			out = append(out, line{strings.TrimRight(string(s.bytes[from:i]), "\r"), s.at[i]})
			from = i + 1
		}
	}
	return out
}

// bench is the built firmware and its emulator.
type bench struct{ firmware, emulator string }

// emulated builds both, or skips.
func emulated(t *testing.T) bench {
	if os.Getenv("LOBESCRIBE_BOARD") == "" {
		t.Skip("NOT TESTED: the firmware under an emulator; LOBESCRIBE_BOARD=1 asks for it (Debian: gcc-avr, avr-libc, libsimavr-dev)")
	}
	dir := t.TempDir()
	b := bench{filepath.Join(dir, "board.elf"), filepath.Join(dir, "emulator")}
	out, err := exec.Command("make", "-C", "firmware", "BUILD="+dir).CombinedOutput()
	require.NoError(t, err, "%s", out)
	out, err = exec.Command("cc", "-O2", "-Wall", "-Wextra", "-Werror", "-o", b.emulator, "host/emulator.c", "-lsimavr").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return b
}

// script writes a stimulus that lasts until the cycle end to a file, as the emulator
// reads it.
func (s *stimulus) script(t *testing.T, kind int, end int64) (name string) {
	slices.SortStableFunc(s.changes, func(x, y change) int { return int(x.cycle - y.cycle) })
	name = filepath.Join(t.TempDir(), "stimulus")
	var text bytes.Buffer
	for _, pin := range "ABZCD" {
		level := 0
		if pin == 'C' && kind == 52 {
			level = 1 // its clock rests high
		}
		if pin == 'Z' {
			level = 1 // the encoder stands on its index
		}
		fmt.Fprintf(&text, "0 %c %d\n", pin, level)
	}
	fmt.Fprintf(&text, "0 P 1\n0 K %d\n", map[int]int{24: 1}[kind])
	for _, c := range s.changes {
		fmt.Fprintf(&text, "%d %c %s\n", c.cycle, c.pin, c.value)
	}
	fmt.Fprintf(&text, "%d E 0\n", end)
	require.NoError(t, os.WriteFile(name, text.Bytes(), 0o600))
	return name
}

// run plays a stimulus until the cycle end.
func (b bench) run(t *testing.T, s *stimulus, kind int, end int64) said {
	var out, errs bytes.Buffer
	cmd := exec.Command(b.emulator, b.firmware, s.script(t, kind, end))
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), "%s", &errs)
	r := said{stats: map[string]int64{}}
	for in := bufio.NewScanner(&out); in.Scan(); {
		f := strings.Fields(in.Text())
		if len(f) == 0 || !slices.Contains([]string{"b", "l", "s"}, f[0]) {
			continue // what the library says of itself
		}
		n, err := strconv.ParseInt(f[len(f)-1], 10, 64)
		require.NoError(t, err, in.Text())
		switch f[0] {
		case "b":
			at, err := strconv.ParseInt(f[1], 10, 64)
			require.NoError(t, err)
			r.bytes, r.at = append(r.bytes, byte(n)), append(r.at, at)
		case "l":
			r.latched = append(r.latched, n)
		case "s":
			r.stats[f[1]] = n
		}
	}
	return r
}

// twoWireBits is [twoWire] as the number that is sent.
func twoWireBits(counts int, inch bool) uint32 {
	b, _ := hex.DecodeString(twoWire(counts, inch))
	return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16
}
