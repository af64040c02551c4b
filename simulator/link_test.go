package simulator

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lobescribe/device/measure"
)

// patientTimeout is generous: it only ends a test that hangs.
const patientTimeout = 30 * time.Second

func dial(t *testing.T, address string) net.Conn {
	t.Helper()
	u, err := url.Parse(address)
	require.NoError(t, err)
	require.Equal(t, "tcp", u.Scheme)
	c, err := net.Dial("tcp", u.Host)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	require.NoError(t, c.SetDeadline(time.Now().Add(patientTimeout)))
	return c
}

func serve(t *testing.T, b BenchOptions, o ServeOptions) *Live {
	t.Helper()
	bench, err := NewBench(b)
	require.NoError(t, err)
	l, err := Serve(t.Context(), bench, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Close()) })
	return l
}

// wholeLine reads up to the end of a line, past the one it came into.
func wholeLine(t *testing.T, r *bufio.Reader) string {
	t.Helper()
	line, err := r.ReadString('\n')
	require.NoError(t, err)
	return line
}

func TestTCPTalksUnplugsAndComesBack(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	bench, err := NewBench(BenchOptions{})
	require.NoError(t, err)
	l, err := Serve(t.Context(), bench, ServeOptions{Link: TCP, Speed: 20})
	require.NoError(t, err)
	defer func() { assert.NoError(t, l.Close()) }()

	indicator, encoder := dial(t, l.Indicator.Address()), dial(t, l.Encoder.Address())
	lines := bufio.NewReader(indicator)
	wholeLine(t, lines)
	for range 20 {
		assert.Regexp(t, `^-?[0-9]+\.[0-9]{4} in\r\n$`, wholeLine(t, lines))
	}
	counts := bufio.NewReader(encoder)
	wholeLine(t, counts)
	assert.Regexp(t, `^-?[0-9]+\r\n$`, wholeLine(t, counts))

	address := l.Indicator.Address()
	require.NoError(t, l.Indicator.Unplug())
	require.NoError(t, l.Indicator.Unplug(), "twice is once")
	_, err = io.Copy(io.Discard, indicator)
	if err != nil {
		assert.NotErrorIs(t, err, context.DeadlineExceeded, "it broke and did not hang")
	}
	u, err := url.Parse(address)
	require.NoError(t, err)
	_, err = net.DialTimeout("tcp", u.Host, time.Second)
	require.Error(t, err, "nobody there")
	wholeLine(t, counts) // the other one goes on

	require.NoError(t, l.Indicator.Replug())
	assert.Equal(t, address, l.Indicator.Address())
	again := bufio.NewReader(dial(t, address))
	wholeLine(t, again)
	wholeLine(t, again)
}

func TestPollAnswersWithTheNewestLine(t *testing.T) {
	l := serve(t, BenchOptions{NoEncoder: true}, ServeOptions{Link: TCP, Speed: 50, Poll: "?\r"})
	require.Nil(t, l.Encoder)
	assert.True(t, strings.HasSuffix(l.Indicator.Address(), "&poll=%3F%0D"), l.Indicator.Address())
	c := dial(t, l.Indicator.Address())
	lines := bufio.NewReader(c)
	seen := map[string]bool{}
	for range 200 {
		_, err := c.Write([]byte("x?")) // a request may come in pieces, behind rubbish
		require.NoError(t, err)
		_, err = c.Write([]byte("\r"))
		require.NoError(t, err)
		line := wholeLine(t, lines)
		assert.Regexp(t, ` in\r\n$`, line)
		seen[line] = true
		time.Sleep(5 * time.Millisecond)
	}
	assert.Greater(t, len(seen), 5, "the valve moves")
	assert.Zero(t, lines.Buffered(), "an answer a request")
}

func TestStallIsSilentButOpen(t *testing.T) {
	l, err := OpenLink(LinkOptions{Kind: TCP, Query: "format=auto"})
	require.NoError(t, err)
	defer l.Close()
	c := dial(t, l.Address())
	r := bufio.NewReader(c)
	write := func(s string) {
		_, err := l.Write([]byte(s))
		require.NoError(t, err)
	}
	// Until the connection has been taken in, nothing can come.
	for r.Buffered() == 0 {
		write("first\n")
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
		_, _ = r.Peek(1)
	}
	l.Stall(true)
	write("lost\n")
	l.Stall(false)
	write("last\n")
	require.NoError(t, c.SetReadDeadline(time.Now().Add(patientTimeout)))
	for line := wholeLine(t, r); line != "last\n"; line = wholeLine(t, r) {
		require.Equal(t, "first\n", line)
	}
}

func TestMoveToAnotherValve(t *testing.T) {
	parts := make(chan Part, 100)
	l := serve(t, BenchOptions{}, ServeOptions{Link: TCP, Speed: 10, Played: func(p Part) { parts <- p }})
	first := <-parts
	assert.Equal(t, "intake 1", first.Valve.Name)
	require.NoError(t, l.MoveTo(5))
	second := <-parts
	assert.Equal(t, "exhaust 3", second.Valve.Name)
	assert.Equal(t, 5, l.Valve())
	stopped := second.From - 3*measure.Second
	assert.Less(t, stopped, first.From+first.Truth.End, "it did not wait for the end")
	assert.InDelta(t, float64(first.Truth.CrankAt(stopped)), float64(second.Truth.CrankAt(0)), 2, "the crank stays, and the encoder's count")
	assert.ErrorContains(t, l.MoveTo(8), "0 to 7")

	require.NoError(t, l.Slip(50*measure.Thou))
	third := <-parts
	assert.Equal(t, second.Truth.ShownAt(third.From-second.From)+50*measure.Thou, third.Truth.ShownAt(0))
	require.NoError(t, l.ReZero())
	fourth := <-parts
	assert.InDelta(t, 0, float64(fourth.Truth.ShownAt(0)), 2)
	require.NoError(t, l.SwitchUnit())
	fifth := <-parts
	assert.Contains(t, string(fifth.Indicator[0].Bytes), "mm")
	require.NoError(t, l.Close())
	assert.Error(t, l.Slip(1), "it has stopped")
}

func TestServeStopsWithItsContext(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	bench, err := NewBench(BenchOptions{})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	l, err := Serve(ctx, bench, ServeOptions{Link: TCP})
	require.NoError(t, err)
	cancel()
	require.NoError(t, l.Wait())
	require.NoError(t, l.Close())
	require.NoError(t, l.Close())
}

func TestBenchGoesOnWhereItStopped(t *testing.T) {
	b, err := NewBench(BenchOptions{Seed: 4})
	require.NoError(t, err)
	require.Len(t, b.Engine().Valves, 8)
	var before Part
	styles := map[Style]bool{}
	for i := range 8 {
		p, err := b.Next()
		require.NoError(t, err)
		styles[p.Hand.Style] = true
		require.Len(t, p.Truth.Whole(), 2)
		if i > 0 {
			require.Equal(t, before.From+before.Truth.End, p.From)
			require.Equal(t, before.Truth.CrankAt(before.Truth.End), p.Truth.CrankAt(0))
			require.Greater(t, p.Counts[0].Angle, before.Counts[len(before.Counts)-1].Angle-measure.Degree)
		}
		before = p
	}
	assert.Len(t, styles, len(Styles()))
	_, err = NewBench(BenchOptions{Valve: 9})
	assert.ErrorContains(t, err, "valve 9")
	_, err = NewBench(BenchOptions{Hands: []Hand{{Speed: -1}}})
	assert.ErrorContains(t, err, "hand speed")
}

func TestBenchMule(t *testing.T) {
	e := BenchMule()
	lifts := map[string]measure.Length{}
	for _, v := range e.Valves {
		l, err := v.MaxLift()
		require.NoError(t, err)
		lifts[v.Name] = l
		assert.InDelta(t, 0.43, l.Inches(), 0.03, v.Name)
	}
	require.Len(t, lifts, 8, "all names differ")
	assert.Greater(t, lifts["exhaust 1"]-lifts["exhaust 3"], 15*measure.Thou, "the worn one shows")
	assert.Greater(t, lifts["intake 1"]-lifts["intake 4"], 5*measure.Thou, "and the loose one")
}

// slowly is a writer that notes when each byte came.
type slowly struct {
	mu      sync.Mutex
	started time.Time
	at      []time.Duration
	bytes   []byte
}

func (w *slowly) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.at = append(w.at, time.Since(w.started))
	w.bytes = append(w.bytes, b...)
	return len(b), nil
}

func TestPlayBytesKeepsTheTime(t *testing.T) {
	s := play(t, Scenario{Openings: 1})
	for _, speed := range []float64{0.5, 1, 8} {
		synctest.Test(t, func(t *testing.T) {
			w := &slowly{started: time.Now()}
			require.NoError(t, PlayBytes(t.Context(), s.Indicator, w, speed))
			require.Len(t, w.at, len(s.Indicator))
			for i, c := range s.Indicator {
				require.InDelta(t, float64(c.At)/speed, float64(w.at[i].Microseconds()), 2)
			}
			require.Equal(t, joined(s.Indicator), w.bytes)
		})
	}
}

func TestPlayBytesAtOnceWithMischiefAndStopped(t *testing.T) {
	s := play(t, Scenario{Openings: 1})
	w := &slowly{}
	require.NoError(t, PlayBytes(t.Context(), s.Indicator, w, 0))
	require.Equal(t, joined(s.Indicator), w.bytes)

	ragged := &slowly{}
	require.NoError(t, PlayBytes(t.Context(), s.Indicator, ragged, 0, Mischief{Split: Ragged}))
	require.Equal(t, w.bytes, ragged.bytes)
	require.NotEqual(t, len(w.at), len(ragged.at))

	twice := &slowly{}
	require.NoError(t, PlayBytes(t.Context(), s.Indicator, twice, 0, Mischief{Duplicates: 1}))
	require.Len(t, twice.bytes, 2*len(w.bytes))
	require.Error(t, PlayBytes(t.Context(), nil, w, 0, Mischief{Noise: 7}))

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, PlayBytes(ctx, s.Indicator, w, 1), context.Canceled)
	broken, other := io.Pipe()
	broken.Close()
	require.ErrorIs(t, PlayBytes(t.Context(), s.Indicator, other, 0), io.ErrClosedPipe)
}

func TestAddressesSayWhatTheLineDoesNot(t *testing.T) {
	for name, says := range map[string]string{"bare-lf": "auto&unit=in", "whole-counts": "auto&scale=0.012700mm", "number-and-unit": "auto"} {
		format, err := FormatNamed(name)
		require.NoError(t, err)
		l := serve(t, BenchOptions{NoEncoder: true, Indicator: Indicator{Format: format}}, ServeOptions{Link: TCP})
		assert.True(t, strings.HasSuffix(l.Indicator.Address(), says), l.Indicator.Address())
	}
}

func TestLinkKinds(t *testing.T) {
	for text, want := range map[string]LinkKind{"tty": TTY, "tcp": TCP} {
		got, err := ParseLinkKind(text)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	_, err := ParseLinkKind("string")
	assert.ErrorContains(t, err, "tty or tcp")
}

func TestWhatWasPlayedBeforeIsNotWaitedFor(t *testing.T) {
	bench, err := NewBench(BenchOptions{})
	require.NoError(t, err)
	before, err := bench.Once(Hand{Style: Smooth}, 2)
	require.NoError(t, err)
	require.Greater(t, before.Truth.End, 5*measure.Second)

	played := make(chan Part, 1)
	l, err := Serve(t.Context(), bench, ServeOptions{Link: TCP, Played: func(p Part) {
		select {
		case played <- p:
		default:
		}
	}})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Close()) })
	assert.Zero(t, (<-played).From, "so long after the start it begins")
}
