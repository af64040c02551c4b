//go:build unix

package device

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lobescribe/device/bytelog"
	"lobescribe/device/internal/corpus"
	"lobescribe/device/measure"
)

// Every recording is played through a real pseudo-tty, as a device would send
// it, in pieces that cut lines.
func TestRecordingsThroughAPseudoTTY(t *testing.T) {
	for _, c := range corpus.Load(t, recordings) {
		t.Run(c.Name, func(t *testing.T) {
			defer goleak.VerifyNone(t)
			master, slave := openPty(t)
			ctx, cancel := context.WithCancel(t.Context())
			// However slow the machine: the recording begins in the middle of
			// a line.
			s := Open(ctx, at(t, "serial:%s?%s", slave.Name(), c.Query), Options{quietStart: 1 << 60})
			l := listen(s)
			eventually(t, "open", func() bool { return s.Status().State == Settling })
			if s.Address().Poll != "" {
				answer(t, master, c.Bytes, s.Address().Poll)
			} else {
				for b := c.Bytes; len(b) > 0; {
					n, err := master.Write(b[:min(len(b), 1+len(b)%53)])
					require.NoError(t, err)
					b = b[n:]
				}
			}
			eventually(t, "all readings", func() bool { return len(l.lifts()) >= len(c.Readings) })
			eventually(t, "all bytes", func() bool { return s.Counters().Bytes >= int64(len(c.Bytes)) })
			cancel()
			<-l.done
			assert.Equal(t, texts(c.Readings), texts(l.readings))
			refused := s.Counters().Refused
			refused.Unanswered = 0 // a busy machine may answer late
			assert.Equal(t, c.Refused, refused)
			var notes []measure.NoteKind
			for _, n := range l.notes {
				notes = append(notes, n.Kind)
			}
			assert.Equal(t, c.Notes, notes)
			for i := 1; i < len(l.readings); i++ {
				require.Greater(t, l.readings[i].At, l.readings[i-1].At, "time goes forward")
			}
		})
	}
}

// answer plays a device that speaks only when asked: a line for each request.
func answer(t *testing.T, master *os.File, b []byte, request string) {
	t.Helper()
	for len(b) > 0 {
		got := make([]byte, len(request))
		for n := 0; n < len(got); {
			m, err := master.Read(got[n:])
			require.NoError(t, err)
			n += m
		}
		require.Equal(t, request, string(got))
		n := 0
		for n < len(b) && b[n] != '\n' {
			n++
		}
		n = min(n+1, len(b))
		_, err := master.Write(b[:n])
		require.NoError(t, err)
		b = b[n:]
	}
}

// A recording made of one link plays back through a tty as it was, and worse
// than it was: cut at odd places, with garbage and stalls in between.
func TestHostilePlaybackThroughAPseudoTTY(t *testing.T) {
	for _, c := range corpus.Load(t, recordings) {
		if c.Name != "unit-behind" && c.Name != "counts-lift-checked" {
			continue
		}
		t.Run(c.Name, func(t *testing.T) {
			var text bytes.Buffer
			rec := bytelog.NewWriter(&text, c.Name)
			for i, line := range bytes.SplitAfter(c.Bytes, []byte("\n")) {
				require.NoError(t, rec.Bytes(measure.Stamp(i)*20*measure.Millisecond, line))
			}
			require.NoError(t, rec.Flush())
			r, err := bytelog.NewReader(&text)
			require.NoError(t, err)

			master, slave := openPty(t)
			ctx, cancel := context.WithCancel(t.Context())
			s := Open(ctx, at(t, "serial:%s?%s", slave.Name(), c.Query), Options{quietStart: 1 << 60})
			l := listen(s)
			eventually(t, "open", func() bool { return s.Status().State == Settling })
			p := bytelog.Player{Speed: 20, Hostile: rand.New(rand.NewPCG(7, 7))}
			require.NoError(t, p.Play(t.Context(), r, master))
			last := c.Readings[len(c.Readings)-1]
			eventually(t, "the last reading", func() bool {
				l.mu.Lock()
				defer l.mu.Unlock()
				n := len(l.readings)
				return n >= len(c.Readings)-settleReadings && l.readings[n-1].Lift == last.Lift && l.readings[n-1].Angle == last.Angle
			})
			cancel()
			<-l.done
			// While it settles, what came before garbage is held for chatter.
			stale := int(s.Counters().Refused.Stale)
			assert.Less(t, stale, settleReadings)
			assert.Equal(t, texts(c.Readings[stale:]), texts(l.readings))
			assert.Greater(t, s.Counters().Refused.Total(), c.Refused.Total(), "something was put in")
		})
	}
}
