package workshop

import (
	"fmt"
	"math"
	"os"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
)

// What the tables of every judge have in common.

// Line is one line of a table.
type Line struct {
	Kind    Kind
	Encoder bool
}

// Lines returns each kind without and with an encoder, where that makes sense. Where
// only is not empty, no other kind.
func Lines(only string) []Line {
	var all []Line
	for _, k := range Kinds() {
		if only != "" && only != k.Name {
			continue
		}
		if !k.NeedsEncoder {
			all = append(all, Line{k, false})
		}
		all = append(all, Line{k, true})
	}
	return all
}

// String names a line.
func (l Line) String() string {
	if l.Encoder {
		return l.Kind.Name + ", encoder"
	}
	return l.Kind.Name
}

// At is 1 with an encoder and 0 without: where a pair of bounds holds for it.
func (l Line) At() int {
	if l.Encoder {
		return 1
	}
	return 0
}

// Rates are the readings a second of a table's sessions, in turn.
func Rates() []float64 { return []float64{10, 20, 50, 100} }

// Runs returns the number of sessions a line: LOBESCRIBE_WORKSHOP, or few.
func Runs(few int) (int, error) {
	s := os.Getenv("LOBESCRIBE_WORKSHOP")
	if s == "" {
		return few, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("LOBESCRIBE_WORKSHOP is the number of sessions a line, not %q", s)
	}
	return n, nil
}

// Each plays a number of sessions for each line, on all cores, and hands each to
// judge, which must be safe to call from several goroutines. A hand that reaches is
// another one, see [Options].
func Each(lines []Line, runs int, reaches bool, judge func(line int, s *Session, rate float64)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	rates := Rates()
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < runs*len(lines); i = int(next.Add(1)) - 1 {
				line, run := i%len(lines), i/len(lines)
				rate := rates[run%len(rates)]
				s := Make(lines[line].Kind.Name, firstSeed+uint64(run), Options{Rate: rate, Encoder: lines[line].Encoder, Reaches: reaches})
				judge(line, &s, rate)
			}
		})
	}
	wg.Wait()
}

const firstSeed = 7_000_000

// Luck is three standard deviations of a share of n, in percent: what the luck of the
// draw may add to it. A bound of none allows for one in two hundred.
func Luck(percent float64, n int) float64 {
	p := min(max(percent/100, 0.005), 0.995)
	const rounding = 1e-6 // of the comparison
	return 300*math.Sqrt(p*(1-p)/float64(max(n, 1))) + rounding
}
