//go:build linux || darwin

package board

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// lobescribe builds the program, as a user has it.
func lobescribe(t *testing.T) string {
	name := filepath.Join(t.TempDir(), "lobescribe")
	out, err := exec.Command("go", "build", "-o", name, "lobescribe/cmd/lobescribe").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return name
}

// turned is an engine and a hand with known truth.
func turned(t *testing.T) *simulator.Truth {
	truth, err := simulator.Scenario{
		Seed: 23, Valve: simulator.BenchMule().Valves[0], Openings: 2, Encoder: &simulator.Encoder{},
		Hand:      simulator.Hand{Style: simulator.Smooth, Speed: 180 * measure.Degree},
		Indicator: simulator.Indicator{Unit: measure.InMillimetres},
	}.Foresee()
	require.NoError(t, err)
	return truth
}

// cycles is a moment of the session in cycles of the board.
func cycles(at measure.Stamp) int64 { return int64(at) * frequency / int64(measure.Second) }

// begins is when the crank begins to turn, on the clock of the board.
const begins = 500 * measure.Millisecond

// follow moves the encoder as the crank turns, each edge to fifty microseconds.
func (s *stimulus) follow(t *testing.T, truth *simulator.Truth) {
	const perDegree = turn / 360.0
	for at := measure.Stamp(0); at < truth.End; at += 50 {
		for want := int64(math.Floor(truth.CrankAt(at).Degrees()*perDegree + 0.5)); s.count != want; {
			by := int64(1)
			if want < s.count {
				by = -1
			}
			n := len(s.edges)
			require.True(t, n == 0 || s.edges[n-1] < cycles(begins+at), "two edges at once")
			s.edge(cycles(begins+at), by)
		}
	}
}

// counted is what a perfect indicator shows, in whole hundredths of a millimetre.
func counted(truth *simulator.Truth, at measure.Stamp) int {
	return int(math.Round(truth.ShownAt(max(0, min(at-begins, truth.End))).Millimetres() * 100))
}

// shows has the two-wire kind send what it shows, a hundred times a second, and
// returns it. spoil may change the bits of a frame and how many are sent.
func (s *stimulus) shows(truth *simulator.Truth, spoil func(frame int, v uint32) (uint32, int)) (shown []string) {
	for at := begins / 2; at < begins+truth.End; at += 10 * measure.Millisecond {
		n := counted(truth, at)
		bits, v := 24, twoWireBits(n, false)
		if spoil != nil {
			v, bits = spoil(len(s.frames), v)
		}
		shown = append(shown, strings.Replace(fmt.Sprintf("%.2fmm", float64(n)/100), "-0.00", "0.00", 1))
		s.frame(cycles(at), v, bits, 3200)
	}
	return shown
}

// recorded is what the built program made of the bytes at the end of a
// pseudo-tty.
type recorded struct {
	lift.Findings
	told string // on stderr
}

// record runs the built program on a pseudo-tty and sends it what the board said,
// each byte when the board's clock says, so that a busy machine that emulates
// slowly bends no time. What lose names never arrives.
func record(t *testing.T, program string, r said, openings int, lose func(line string) bool) recorded {
	var chunks []simulator.Chunk
	from := 0
	for i, b := range r.bytes {
		if b != '\n' {
			continue
		}
		if lose == nil || !lose(string(r.bytes[from:i+1])) {
			for j := from; j <= i; j += 8 {
				upTo := min(j+8, i+1)
				chunks = append(chunks, simulator.Chunk{At: measure.Stamp(r.at[upTo-1] / 16), Bytes: r.bytes[j:upTo]})
			}
		}
		from = i + 1
	}
	return recordOf(t, program, openings, func(ctx context.Context, link io.Writer) error {
		return simulator.PlayBytes(ctx, chunks, link, 1)
	})
}

// recordOf runs the built program on a pseudo-tty while send writes to it.
func recordOf(t *testing.T, program string, openings int, send func(ctx context.Context, link io.Writer) error) (got recorded) {
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&counts=2400"})
	require.NoError(t, err)
	defer link.Close()
	ctx, stop := context.WithTimeout(t.Context(), 2*time.Minute)
	defer stop()
	cmd := exec.CommandContext(ctx, program, "record", "--json", "--openings", fmt.Sprint(openings), "--indicator", link.Address())
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	var out bytes.Buffer
	cmd.Stdout = &out
	errs, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	var told strings.Builder
	opened, heard := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(heard)
		once := sync.OnceFunc(func() { close(opened) })
		defer once()
		for in := bufio.NewScanner(errs); in.Scan(); {
			told.WriteString(in.Text() + "\n")
			if strings.Contains(in.Text(), "open;") {
				once()
			}
		}
	}()
	<-opened
	require.NoError(t, send(ctx, link))
	<-heard
	_, _ = io.Copy(io.Discard, errs)
	require.NoError(t, cmd.Wait(), "%s", &told)
	got.told = told.String()
	require.NoError(t, json.Unmarshal(out.Bytes(), &got.Findings), "%s", &out)
	return got
}

// true to a count of the indicator and 0.2 degrees of the crank.
func (f recorded) isTrue(t *testing.T, truth *simulator.Truth) {
	whole := truth.Whole()
	require.Len(t, f.Openings, len(whole))
	for i, o := range f.Openings {
		assert.InDelta(t, whole[i].MaxLift.Millimetres(), o.MaxLift.Millimetres(), 0.01, "a count of the indicator")
		require.NotNil(t, o.OpeningHalf.Angle)
		require.NotNil(t, o.ClosingHalf.Angle)
		up, down := o.OpeningHalf.Angle.Degrees()-whole[i].OpeningHalfAngle.Degrees(), o.ClosingHalf.Angle.Degrees()-whole[i].ClosingHalfAngle.Degrees()
		assert.InDelta(t, 0, up, 0.2)
		assert.InDelta(t, 0, down, 0.2)
		t.Logf("opening %d: max lift %.4f mm (truth %.4f), half lift %+.3f and %+.3f degrees from the truth", i+1, o.MaxLift.Millimetres(), whole[i].MaxLift.Millimetres(), up, down)
	}
}

// From the edges of the encoder and the bits of an indicator to the findings of
// the built program.
func TestFindingsFromEdges(t *testing.T) {
	b := emulated(t)
	program := lobescribe(t)
	truth := turned(t)
	end := cycles(begins + truth.End + 100*measure.Millisecond)
	for _, kind := range []int{24, 52} {
		t.Run(fmt.Sprint(kind, " bits"), func(t *testing.T) {
			s := &stimulus{}
			s.follow(t, truth)
			var shown []string
			if kind == 24 {
				shown = s.shows(truth, nil)
			} else {
				for at := measure.Millisecond; at < begins+truth.End; at += measure.Millisecond {
					frame := onRequest(counted(truth, at), 2, false)
					s.changes = append(s.changes, change{cycles(at), 'F', fmt.Sprintf("%x", frame)})
				}
			}
			r := b.run(t, s, kind, end)
			figures, number := 0, int64(0)
			for i, l := range r.lines() {
				p, ok := parse(t, l.text)
				if i > 0 { // the first has none
					require.Equal(t, number%256, p.number, "a line is missing: %q", l.text)
					number++
				}
				if !ok {
					require.True(t, strings.HasPrefix(p.words, "LOBESCRIBE BOARD"), "%q", l.text)
					continue
				}
				if kind == 24 {
					require.Equal(t, shown[figures], p.figure)
				} else {
					s.frames = append(s.frames, r.latched[figures])
				}
				at := s.frames[figures]
				if truth := s.countAt(at); p.count != truth {
					require.True(t, s.near(at) && max(p.count-truth, truth-p.count) == 1, "count %d, and in truth %d", p.count, truth)
				}
				figures++
			}
			require.Greater(t, figures, 300)
			c := r.stats
			t.Logf("%d edges and %d figures, none lost; %.1f lines a second; worst wait of an edge %d cycles; awake %.1f %% of the time",
				len(s.edges), figures, perSecond(r), c["encoder-worst-wait"], 100-100*float64(c["slept"])/float64(c["cycles"]))
			f := record(t, program, r, len(truth.Whole()), nil)
			f.isTrue(t, truth)
			assert.Empty(t, f.Faults)
			assert.NotContains(t, f.told, "no readings", "nothing was lost")
			assert.NotContains(t, f.told, "the device says")
		})
	}
}

// The same with the board running while it is recorded: each byte of its UART goes
// into the pseudo-tty as the emulator says it, no sooner than the board's clock. A
// machine that emulates too slowly is late, and the log says by how much; lift and
// count are latched together and stay true.
func TestRecordedWhileItRuns(t *testing.T) {
	b := emulated(t)
	program := lobescribe(t)
	truth := turned(t)
	s := &stimulus{}
	s.follow(t, truth)
	s.shows(truth, nil)
	name := s.script(t, 24, cycles(begins+truth.End+100*measure.Millisecond))
	late, sent := time.Duration(0), 0
	f := recordOf(t, program, len(truth.Whole()), func(ctx context.Context, link io.Writer) error {
		cmd := exec.CommandContext(ctx, b.emulator, b.firmware, name)
		out, err := cmd.StdoutPipe()
		if err != nil {
			return err
		}
		if err := cmd.Start(); err != nil {
			return err
		}
		started := time.Now()
		for in := bufio.NewScanner(out); in.Scan(); {
			var cycle, value int64
			if n, _ := fmt.Sscanf(in.Text(), "b %d %d", &cycle, &value); n != 2 {
				continue
			}
			due := started.Add(time.Duration(cycle) * time.Second / frequency)
			if behind := time.Since(due); behind < 0 {
				time.Sleep(-behind)
			} else {
				late = max(late, behind)
			}
			if _, err := link.Write([]byte{byte(value)}); err != nil {
				return err
			}
			sent++
		}
		return cmd.Wait()
	})
	t.Logf("%d bytes, at most %v behind the board's clock", sent, late)
	f.isTrue(t, truth)
	assert.NotContains(t, f.told, "the device says")
}

// What goes wrong at the pins or on the way is told by name, and the lift stays
// true: frames with a clock too few, bits that no figure has, a bit of the figure
// turned over, lines that never arrive, and both wires of the encoder at once.
func TestTroublesAtThePinsAreTold(t *testing.T) {
	b := emulated(t)
	program := lobescribe(t)
	truth := turned(t)
	end := cycles(begins + truth.End + 100*measure.Millisecond)
	s := &stimulus{}
	s.follow(t, truth)
	s.shows(truth, func(frame int, v uint32) (uint32, int) {
		switch frame {
		case 60, 61:
			return v, 23
		case 150:
			return v | 1<<21, 24
		case 240:
			return v ^ 1<<9, 24 // 5.12 mm off, on the heel or not
		}
		return v, 24
	})
	// Half a turn before the end the encoder jumps by two quarters between edges.
	at := s.edges[len(s.edges)-turn/2] + 300
	s.slip(t, at)
	r := b.run(t, s, 24, end)
	lost := 0
	f := record(t, program, r, len(truth.Whole()), func(line string) bool {
		p, ok := parse(t, strings.TrimRight(line, "\r\n"))
		if ok && slices.Contains([]int64{100, 101, 102}, p.number) {
			lost++
			return true
		}
		return false
	})
	require.Len(t, f.Openings, len(truth.Whole()))
	for i, o := range f.Openings {
		assert.InDelta(t, truth.Whole()[i].MaxLift.Millimetres(), o.MaxLift.Millimetres(), 0.01)
	}
	require.Positive(t, lost)
	for _, says := range []string{"BITS LOST 23", "bits that no figure has", fmt.Sprintf("%d never came", lost), "lines were lost on their way", "both wires of the encoder changed at once"} {
		assert.Contains(t, f.told, says)
	}
	assert.True(t, strings.Contains(f.told, "further off than a spindle goes") || f.Doubted["misread"] > 0, "the figure with a bit turned over: %s", f.told)
	t.Log("\n" + f.told)
}

// slip moves both wires at once, two counts on, at a cycle; what comes later
// comes from there.
func (s *stimulus) slip(t *testing.T, at int64) {
	slices.SortStableFunc(s.changes, func(x, y change) int { return int(x.cycle - y.cycle) })
	moved := 0
	for i, c := range s.changes {
		if c.cycle <= at || c.pin != 'A' && c.pin != 'B' {
			continue
		}
		s.changes[i].value = map[string]string{"0": "1", "1": "0"}[c.value]
		moved++
	}
	require.Positive(t, moved)
	level := map[byte]string{'A': "1", 'B': "0"} // as at a count of zero
	for _, c := range s.changes {
		if c.cycle <= at && (c.pin == 'A' || c.pin == 'B') {
			level[c.pin] = c.value
		}
	}
	for _, pin := range []byte{'A', 'B'} {
		s.changes = append(s.changes, change{at, pin, map[string]string{"0": "1", "1": "0"}[level[pin]]})
	}
}
