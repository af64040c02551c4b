package device

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/device/port"
)

// spouts lets the device send as much as is taken, for a while.
func (b *bench) spouts(t *testing.T, text string, a time.Duration) {
	t.Helper()
	end := time.After(a)
	l := b.link()
	for {
		for rest := text; len(rest) > 0; {
			n := min(len(rest), port.BatchBytes)
			select {
			case l.in <- []byte(rest[:n]):
			case <-end:
				synctest.Wait()
				return
			}
			rest = rest[n:]
		}
	}
}

// A device that sends lines as fast as they are taken: what is followed is
// bounded, what is not is a gap, and the state says what is wrong.
func TestAFloodIsBoundedAndTold(t *testing.T) {
	for _, query := range []string{"", "format=unit-behind"} {
		onBench(t, query, func(t *testing.T, b *bench) {
			const seconds = 4
			var text strings.Builder
			for i := range 20_000 {
				fmt.Fprintf(&text, "%d.%03d mm\r\n", i/1000, i%1000)
			}
			time.Sleep(time.Second)
			b.spouts(t, text.String(), seconds*time.Second)
			st, c := b.source.Status(), b.source.Counters()
			assert.Contains(t, st.Says, "more than can be followed")
			assert.Positive(t, st.Refused.Flood)
			chunk := int64(port.BatchBytes / 5) // lines, that may still come when the bound is reached
			assert.LessOrEqual(t, c.Readings, (seconds+1)*(mostReadings+chunk))
			assert.Greater(t, c.Readings, int64(seconds-2)*mostReadings, "and so much is followed")
			assert.LessOrEqual(t, c.Bytes, int64(seconds*mostBytes+burstBytes+2*port.BatchBytes))

			// It comes to its senses.
			time.Sleep(10 * time.Second)
			before := len(b.heard.lifts())
			b.sends(50, 20*time.Millisecond, moving)
			assert.Equal(t, "readings come", b.source.Status().Says)
			assert.GreaterOrEqual(t, len(b.heard.lifts())-before, 49, "the line that was torn is lost, no other")

			b.heard.mu.Lock()
			defer b.heard.mu.Unlock()
			for i := 1; i < len(b.heard.readings); i++ {
				require.Greater(t, b.heard.readings[i].At, b.heard.readings[i-1].At)
			}
			covered := 0
			for _, n := range b.heard.notes {
				if n.Kind == measure.NoteGap {
					covered++
					assert.Contains(t, n.Says, "more than can be followed")
				}
			}
			for i := 1; i < len(b.heard.readings); i++ {
				if from, to := b.heard.readings[i-1].At, b.heard.readings[i].At; to-from > 100*measure.Millisecond && to < (seconds+1)*measure.Second {
					declared := false
					for _, n := range b.heard.notes {
						declared = declared || n.Kind == measure.NoteGap && n.At <= from && n.Until >= to
					}
					require.True(t, declared, "nothing from %v to %v, and nobody says so", from, to)
				}
			}
			assert.GreaterOrEqual(t, covered, seconds-2)
		})
	}
}

// What a device can send that is no reading, and what is said of it.
func TestWhatIsWrongWithADeviceIsSaid(t *testing.T) {
	digits := strings.Repeat("3", 400) + "\r\n"
	for _, c := range []struct{ name, query, text, says string }{
		{"a line without end", "", strings.Repeat("1", 5000), "no ends of lines"},
		{"a line without end, format known", "format=unit-behind", strings.Repeat("1", 5000), "the lines have no end"},
		{"NULs", "", strings.Repeat("\x00", 5000), "nothing but NUL bytes"},
		{"NULs, format known", "format=unit-behind", "1.000 mm\r\n" + strings.Repeat("\x00", 5000), "the lines have no end"},
		{"numbers of 400 digits", "", strings.Repeat(digits, 20), "longer than 128 bytes"},
		{"numbers of 400 digits, format known", "format=unit-behind", strings.Repeat(digits, 20), "the lines have no end"},
		{"words", "format=unit-behind", strings.Repeat("hello there\r\n", 200), "the lines are no numbers"},
		{"checksums that do not agree", "format=counts-lift-checked&counts=2400", strings.Repeat("$710,10.668mm*0E\r\n", 100), "the checksums do not agree"},
		{"a unit that flips", "format=unit-behind", strings.Repeat("1.000 mm\r\n1.000 mm\r\n0.03937 in\r\n0.03937 in\r\n", 100), "changes again and again"},
	} {
		t.Run(c.name, func(t *testing.T) {
			onBench(t, c.query, func(t *testing.T, b *bench) {
				time.Sleep(time.Second)
				b.sends(40, 100*time.Millisecond, same(c.text))
				st := b.source.Status()
				assert.Contains(t, st.Says, c.says)
				b.heard.mu.Lock()
				defer b.heard.mu.Unlock()
				assert.LessOrEqual(t, len(b.heard.notes), 2*mostNotes)
				for _, r := range b.heard.readings {
					assert.InDelta(t, 1, r.Lift.Millimetres(), 0.001, "nothing is a reading that is none")
				}
			})
		})
	}
}

// A clock that is set back (the default one never is) and a device that takes
// its time: the readings stay in order.
func TestTimeThatGoesBack(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(20, 50*time.Millisecond, moving)
		b.mu.Lock()
		b.start = b.start.Add(20 * time.Second) // the source's clock reads 20 s less
		b.mu.Unlock()
		b.sends(200, 50*time.Millisecond, moving)
		require.Len(t, b.heard.lifts(), 220)
		for i := 1; i < 220; i++ {
			require.Greater(t, b.heard.readings[i].At, b.heard.readings[i-1].At)
		}
	})
}

// A device that answers each request only after the time for it is over: that is
// said, nothing is taken for the answer to another request twice, and it is not
// asked faster for it.
func TestADeviceThatAnswersLate(t *testing.T) {
	onBench(t, `format=unit-behind&poll=?\r&rate=10`, func(t *testing.T, b *bench) {
		n := 0
		l := b.link()
		l.late = 700 * time.Millisecond
		l.answers(func([]byte) []byte {
			n++
			return []byte(moving(n))
		})
		time.Sleep(20 * time.Second)
		synctest.Wait()
		c := b.source.Counters()
		assert.Positive(t, c.Refused.Unanswered)
		assert.LessOrEqual(t, c.Asked, int64(20*10+1))
		assert.LessOrEqual(t, c.Readings, c.Asked)
	})
}
