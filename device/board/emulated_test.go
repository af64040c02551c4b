package board

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// parsed is a line with a figure, taken apart here and not by the program's own
// reader.
type parsed struct {
	count, number int64
	index         bool
	figure        string
	words         string // in the figure's place
}

func parse(t *testing.T, l string) (p parsed, ok bool) {
	body, check, found := strings.Cut(strings.TrimPrefix(l, "$"), "*")
	require.True(t, found && strings.HasPrefix(l, "$"), "%q", l)
	var x byte
	for i := range len(body) {
		x ^= body[i]
	}
	require.Equal(t, fmt.Sprintf("%02X", x), check, "%q", l)
	f := strings.Split(body, ",")
	if len(f) != 3 {
		return parsed{words: body}, false // the first line
	}
	_, err := fmt.Sscan(strings.TrimSuffix(f[0], "I"), &p.count)
	require.NoError(t, err, "%q", l)
	_, err = fmt.Sscan(f[2], &p.number)
	require.NoError(t, err, "%q", l)
	p.index = strings.HasSuffix(f[0], "I")
	if !strings.HasSuffix(f[1], "mm") && !strings.HasSuffix(f[1], "in") {
		p.words = f[1]
		return p, false
	}
	p.figure = f[1]
	return p, true
}

// spin turns the encoder at so many edges a second from one second to another.
func (s *stimulus) spin(from, to float64, rate float64, by int64) {
	period := frequency / rate
	for at := from * frequency; at < to*frequency; at += period {
		s.edge(int64(at), by)
	}
}

// figures checks the lines against the stimulus and returns the lags in cycles.
func figures(t *testing.T, s *stimulus, r said, want func(frame int) string) (lags []int64) {
	lines := r.lines()
	require.NotEmpty(t, lines)
	first := "LOBESCRIBE BOARD 2 BITS 24"
	if len(r.latched) > 0 {
		first = "LOBESCRIBE BOARD 2 BITS 52"
	}
	body, ok := parse(t, lines[0].text)
	assert.False(t, ok)
	assert.Equal(t, first, body.words)
	frame := 0
	for _, l := range lines[1:] {
		p, ok := parse(t, l.text)
		require.True(t, ok, "%q is no figure", l.text)
		require.Less(t, frame, len(s.frames))
		at := s.frames[frame]
		require.Equal(t, int64(frame%256), p.number, "a line is missing")
		require.Equal(t, want(frame), p.figure)
		if truth := s.countAt(at); p.count != truth {
			require.True(t, s.near(at) && p.count-truth >= -1 && p.count-truth <= 1, "count %d of frame %d, and in truth %d", p.count, frame, truth)
		}
		lags = append(lags, l.at-at)
		frame++
	}
	require.Equal(t, len(s.frames), frame, "frames that became lines")
	return lags
}

// 300 turns a minute at 2400 edges a turn are 12,000 edges a second; both ways,
// with the fastest frames that the board parts (24 bits of 100 us and a rest),
// and then three times as fast. The last count must be the true one.
func TestNoCountIsLostAtTopSpeed(t *testing.T) {
	b := emulated(t)
	for _, rate := range []float64{12_000, 36_000} {
		s := &stimulus{}
		s.spin(0.1, 0.4, rate, +1)
		s.spin(0.42, 0.9, rate, -1)
		for at := int64(frequency / 20); at < frequency*96/100; at += frequency * 8 / 1000 {
			s.frame(at, twoWireBits(-len(s.frames)%3000, false), 24, 1600)
		}
		want := func(i int) string {
			return strings.Replace(fmt.Sprintf("%.2fmm", -float64(i%3000)/100), "-0.00", "0.00", 1)
		}
		r := b.run(t, s, 24, frequency)
		lags := figures(t, s, r, want)
		last, _ := parse(t, r.lines()[len(s.frames)].text)
		require.Equal(t, s.count, last.count)
		c := r.stats
		t.Logf("%.0f edges a second: %d edges, none lost; longest wait of an edge %d cycles, of the indicator's clock %d, of the tick %d (longest interrupt: encoder %d, clock %d, tick %d, uart %d); awake %.1f %% of the time, in interrupts %.1f %%; %.1f lines a second; latch to line %.2f to %.2f ms",
			rate, len(s.edges), c["encoder-worst-wait"], c["clock-worst-wait"], c["tick-worst-wait"],
			c["encoder-longest"], c["clock-longest"], c["tick-longest"], c["uart-longest"],
			100-100*float64(c["slept"])/float64(c["cycles"]),
			100*float64(c["encoder-ran"]+c["clock-ran"]+c["tick-ran"]+c["uart-ran"])/float64(c["cycles"]),
			perSecond(r), float64(slices.Min(lags))/16000, float64(slices.Max(lags))/16000)
	}
}

// perSecond is how many lines a second came, from the first figure to the last.
func perSecond(r said) float64 {
	l := r.lines()
	return float64(len(l)-2) * frequency / float64(l[len(l)-1].at-l[1].at)
}

// The kind that is asked answers with what it shows then, and the count is that
// of its first clock.
func TestNoCountIsLostWithTheKindThatIsAsked(t *testing.T) {
	b := emulated(t)
	s := &stimulus{}
	s.spin(0.1, 0.5, 12_000, +1)
	frame := onRequest(-4205, 4, true)
	s.changes = append(s.changes, change{16_000, 'F', fmt.Sprintf("%x", frame)})
	r := b.run(t, s, 52, frequency*6/10)
	require.Greater(t, len(r.latched), 10)
	s.frames = r.latched[:len(r.lines())-1] // the last may not be a line yet
	require.GreaterOrEqual(t, len(s.frames), len(r.latched)-2)
	lags := figures(t, s, r, func(int) string { return "-0.4205in" })
	t.Logf("%.1f lines a second; latch to line %.2f to %.2f ms", perSecond(r), float64(slices.Min(lags))/16000, float64(slices.Max(lags))/16000)
}
