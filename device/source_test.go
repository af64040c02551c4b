package device

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/dial"
	"lobescribe/device/measure"
	"lobescribe/device/port"
)

func same(text string) func(int) string { return func(int) string { return text } }

func moving(i int) string { return fmt.Sprintf("%d.%03d mm\r\n", i/50, i%50*20) }

func TestFlowingAndStandingStill(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		assert.Equal(t, Settling, b.source.Status().State)
		time.Sleep(time.Second)
		b.sends(100, 20*time.Millisecond, moving)
		st := b.source.Status()
		assert.Equal(t, Flowing, st.State)
		assert.Equal(t, "live", st.LiveWord())
		assert.InDelta(t, 50, st.Rate, 5)
		assert.Equal(t, 20*measure.Micrometre, st.Resolution, "it moved by twenty of its last digit")
		assert.Equal(t, "mm", st.Unit)
		assert.Len(t, b.heard.lifts(), 100, "after a second of silence the first line is whole")
		b.sends(200, 20*time.Millisecond, same("1.000 mm\r\n"))
		assert.Equal(t, StandingStill, b.source.Status().State)
		assert.Equal(t, "live", b.source.Status().LiveWord())
		b.sends(20, 20*time.Millisecond, moving)
		assert.Equal(t, Flowing, b.source.Status().State)
		assert.Equal(t, []State{Opening, Settling, Flowing, StandingStill, Flowing}, b.heard.states())
	})
}

// A device that spoke while it stood still and is silent now has stalled,
// although its port is open. It is opened again and the lost time is told.
func TestAStalledDeviceIsNeverGreen(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(100, 50*time.Millisecond, same("1.000 mm\r\n"))
		silent := b.source.o.Clock()
		assert.Equal(t, "live", b.source.Status().LiveWord())
		// Nothing is closed; it just says no more.
		time.Sleep(2 * time.Second)
		synctest.Wait()
		assert.NotEqual(t, "live", b.source.Status().LiveWord())
		assert.Contains(t, b.heard.states(), Stalled)
		for range 100 {
			time.Sleep(100 * time.Millisecond)
			synctest.Wait()
			require.NotEqual(t, "live", b.source.Status().LiveWord())
		}
		assert.Greater(t, b.opens(), 1, "it is opened again")
		assert.Less(t, b.opens(), 5, "but a board gets the time to boot")
		// What is opened after the silence begins a line.
		b.sends(50, 50*time.Millisecond, same("2.000 mm\r\n"))
		assert.Equal(t, "live", b.source.Status().LiveWord())
		require.Equal(t, 1, b.heard.gaps())
		gap := b.heard.notes[0]
		assert.InDelta(t, silent.Seconds(), gap.At.Seconds(), 0.2)
		assert.Greater(t, gap.Until-gap.At, 10*measure.Second)
		assert.Equal(t, gap.Until, b.heard.readings[100].At)
	})
}

// A board that speaks only when something moves is not opened again for its
// silence; but it is not called live either.
func TestSilenceAtRestIsNoFault(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(100, 20*time.Millisecond, moving)
		time.Sleep(time.Minute)
		synctest.Wait()
		st := b.source.Status()
		assert.Equal(t, StandingStill, st.State)
		assert.Equal(t, "silent", st.LiveWord())
		assert.InDelta(t, 60, st.Age.Seconds(), 1)
		assert.Zero(t, st.Rate)
		assert.Equal(t, 1, b.opens())
		b.sends(10, 20*time.Millisecond, moving)
		assert.Equal(t, "live", b.source.Status().LiveWord())
		assert.Zero(t, b.heard.gaps(), "nothing was lost")
	})
}

func TestOpenButSilent(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(4 * time.Second)
		synctest.Wait()
		assert.Equal(t, Stalled, b.source.Status().State)
		assert.Contains(t, b.source.Status().Says, "nothing comes")
		assert.Equal(t, 1, b.opens())
	})
}

func TestUnplugAndReplug(t *testing.T) {
	onBench(t, "format=unit-behind&delay=20ms", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(20, 20*time.Millisecond, moving)
		b.mu.Lock()
		b.absent = &port.OpenError{Port: "x", Cause: port.ErrNotFound, Hint: "is it plugged in?"}
		b.mu.Unlock()
		lost := time.Now()
		close(b.link().in)
		time.Sleep(250 * time.Millisecond)
		synctest.Wait()
		assert.Equal(t, Absent, b.source.Status().State)
		assert.Equal(t, "lost", b.source.Status().LiveWord())
		time.Sleep(30 * time.Second)
		b.mu.Lock()
		b.absent = nil
		b.mu.Unlock()
		time.Sleep(backoffMost + time.Second)
		synctest.Wait()
		require.Equal(t, 2, b.opens(), "within two seconds")
		b.sends(20, 20*time.Millisecond, moving)
		require.Equal(t, 1, b.heard.gaps())
		gap := b.heard.notes[0]
		assert.Equal(t, b.heard.readings[20].At, gap.Until)
		assert.Less(t, gap.At, measure.StampOf(lost.Sub(b.start)))
		assert.Len(t, b.heard.lifts(), 40)
	})
}

func TestRefusedTellsWhatToDo(t *testing.T) {
	onBench(t, "", func(t *testing.T, b *bench) {
		b.mu.Lock()
		b.absent = dial.Busy("/dev/ttyUSB0", "terminal (process 12)")
		b.mu.Unlock()
		close(b.link().in)
		time.Sleep(5 * time.Second)
		synctest.Wait()
		st := b.source.Status()
		assert.Equal(t, Refused, st.State)
		assert.Equal(t, "lost", st.LiveWord())
		assert.Contains(t, st.Says, "terminal (process 12) holds it; close that program")
		b.mu.Lock()
		b.absent = nil
		b.mu.Unlock()
		time.Sleep(3 * time.Second)
		synctest.Wait()
		assert.Equal(t, 2, b.opens(), "it is taken up again when it is free")
	})
}

func TestSleepReopens(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(20, 20*time.Millisecond, moving)
		b.mu.Lock()
		b.slept = time.Hour
		b.mu.Unlock()
		time.Sleep(tickEvery + 50*time.Millisecond)
		synctest.Wait()
		assert.Equal(t, 2, b.opens())
		time.Sleep(time.Second)
		b.sends(20, 20*time.Millisecond, moving)
		require.Equal(t, 1, b.heard.gaps())
		assert.Contains(t, b.heard.notes[0].Says, "the computer slept for 3600 s")
		assert.Equal(t, int64(1), b.source.Counters().Sleeps)
	})
}

// What came before the link was given up is read to its end, though the source
// was busy.
func TestWhatCameIsReadBeforeTheLinkIsGivenUp(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(20, 20*time.Millisecond, moving)
		b.mu.Lock()
		b.slept = time.Hour
		b.mu.Unlock()
		for i := range 20 { // at once, together with the end
			b.link().in <- []byte(moving(20 + i))
		}
		time.Sleep(tickEvery + 50*time.Millisecond)
		synctest.Wait()
		assert.Equal(t, 2, b.opens())
		assert.Len(t, b.heard.lifts(), 40)
	})
}

func TestBootChatterIsNoReading(t *testing.T) {
	onBench(t, "format=plain&unit=mm", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		for _, l := range []string{"\x00\x8c\r\n", "boot v2\r\n", "3\r\n", "115200\r\n", "ready\r\n"} {
			b.link().in <- []byte(l)
			time.Sleep(30 * time.Millisecond)
		}
		b.sends(20, 20*time.Millisecond, func(i int) string { return fmt.Sprintf("1.%02d\r\n", i) })
		lifts := b.heard.lifts()
		require.Len(t, lifts, 20)
		assert.Equal(t, measure.Millimetre, lifts[0])
		assert.NotZero(t, b.source.Counters().Refused.Stale)
	})
}

// However the first bytes were cut into reads, the same of them are readings:
// two lines in the first read, and the rest, with garbage at its end, in the
// second, once cost two readings.
func TestTheFirstReadingsDoNotDependOnTheReads(t *testing.T) {
	text := moving(1) + moving(2) + moving(3) + moving(4) + "??\r\n" + moving(5)
	for cut := range len(text) {
		onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
			time.Sleep(time.Second)
			b.link().in <- []byte(text[:cut])
			time.Sleep(20 * time.Millisecond)
			b.link().in <- []byte(text[cut:])
			time.Sleep(time.Second)
			synctest.Wait()
			assert.Len(t, b.heard.lifts(), 5, "cut after %d bytes", cut)
		})
	}
}

// One reading and then nothing, as of a device with a button, is given out
// after a moment.
func TestASingleReadingComesThrough(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(10 * time.Second)
		b.sends(1, time.Second, moving)
		assert.Len(t, b.heard.lifts(), 1)
	})
}

func TestPolling(t *testing.T) {
	onBench(t, `format=unit-behind&poll=?\r&rate=10`, func(t *testing.T, b *bench) {
		n := 0
		reply := func([]byte) []byte {
			n++
			return []byte(moving(n))
		}
		l := b.link()
		l.answers(reply)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		st := b.source.Status()
		assert.Equal(t, Flowing, st.State)
		assert.InDelta(t, 10, st.Rate, 1)
		assert.Equal(t, strings.Repeat("?\r", len(l.written)/2), string(l.written))
		assert.InDelta(t, 100, len(b.heard.lifts()), 5)
		// It answers no more: told within three seconds, and asked again.
		l.answers(nil)
		time.Sleep(4 * time.Second)
		synctest.Wait()
		assert.Equal(t, "silent", b.source.Status().LiveWord())
		assert.Greater(t, b.source.Counters().Refused.Unanswered, int64(3))
		b.link().answers(reply)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		assert.Equal(t, "live", b.source.Status().LiveWord())
	})
}

func TestNothingIsWrittenUnlessPolled(t *testing.T) {
	onBench(t, "", func(t *testing.T, b *bench) {
		time.Sleep(5 * time.Second)
		b.sends(100, 50*time.Millisecond, moving)
		time.Sleep(30 * time.Second)
		for _, l := range b.links {
			assert.Empty(t, l.written)
		}
	})
}

func TestAutoFindsAndLosesNothing(t *testing.T) {
	onBench(t, "", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(100, 50*time.Millisecond, moving)
		st := b.source.Status()
		assert.Equal(t, "found", st.Format)
		assert.Contains(t, st.FormatSays, "3 decimals, mm behind it, ends in CR LF")
		require.Len(t, b.heard.lifts(), 100)
		// The readings it listened to keep the times at which they came.
		at := b.heard.readings
		for i := 1; i < len(at); i++ {
			require.InDelta(t, 0.05, (at[i].At - at[i-1].At).Seconds(), 0.002)
		}
	})
}

func TestAFootSwitchIsAMark(t *testing.T) {
	onBench(t, "format=none&pedal=cts", func(t *testing.T, b *bench) {
		time.Sleep(10 * time.Second)
		synctest.Wait()
		assert.Equal(t, "live", b.source.Status().LiveWord(), "%+v", b.source.Status())
		b.heard.mu.Lock()
		defer b.heard.mu.Unlock()
		require.Len(t, b.heard.notes, 5)
		for i, n := range b.heard.notes {
			assert.Equal(t, measure.NoteMark, n.Kind)
			assert.InDelta(t, float64(2*i+1), n.At.Seconds(), 0.02)
		}
	})
}

func TestAWrongAddressSaysSo(t *testing.T) {
	for query, says := range map[string]string{
		"format=nonsense":    "there are: auto, none, modbus, plain",
		"format=counts-lift": "add counts=",
	} {
		a := at(t, "serial:x?%s", query)
		assert.ErrorContains(t, Check(a, Options{}), says)
		ctx, cancel := context.WithCancel(t.Context())
		s := Open(ctx, a, Options{})
		l := listen(s)
		eventually(t, "refused", func() bool { return s.Status().State == Refused })
		assert.Contains(t, s.Status().Says, says)
		cancel()
		<-l.done
	}
	assert.NoError(t, Check(at(t, "serial:x?format=counts-lift&counts=2400"), Options{}))
}

func TestStatusIsToldOftenAndNotTooOften(t *testing.T) {
	onBench(t, "format=unit-behind", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(1000, time.Millisecond, moving)
		b.heard.mu.Lock()
		before := len(b.heard.status)
		b.heard.mu.Unlock()
		b.sends(10_000, time.Millisecond, moving)
		b.heard.mu.Lock()
		defer b.heard.mu.Unlock()
		assert.InDelta(t, 40, len(b.heard.status)-before, 5, "in ten seconds")
	})
}

// A chunk of several lines is spread over the time in which it came.
func TestLinesOfAChunkAreSpread(t *testing.T) {
	onBench(t, "format=unit-behind&baud=9600&delay=5ms", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		var chunk []byte
		for i := range 10 {
			chunk = append(chunk, moving(i)...)
		}
		b.link().in <- []byte("9.000 mm\r\n")
		time.Sleep(200 * time.Millisecond)
		now := b.source.o.Clock()
		b.sends(1, time.Second, same(string(chunk)))
		r := b.heard.readings
		require.Len(t, r, 11)
		// The line ends with its CR, a byte before the chunk does.
		assert.Equal(t, now-5*measure.Millisecond-measure.StampOf(time.Second/960), r[10].At)
		for i := 2; i < len(r); i++ {
			// A byte at 9600 8N1 takes 1/960 s.
			assert.InDelta(t, 10.0/960, (r[i].At - r[i-1].At).Seconds(), 1e-5)
		}
		// The same within a shorter time than the line would take: squeezed
		// into that time.
		b.link().in <- []byte("9.000 mm\r\n")
		time.Sleep(20 * time.Millisecond)
		b.sends(1, time.Second, same(string(chunk)))
		r = b.heard.readings[11:]
		require.Len(t, r, 11)
		for i := 2; i < len(r); i++ {
			assert.InDelta(t, 0.002, (r[i].At - r[i-1].At).Seconds(), 1e-5)
		}
	})
}

// Lines that were held up on the way and come at once are put back to the pace
// at which the device sends.
func TestHeldUpLinesKeepTheirPace(t *testing.T) {
	onBench(t, "format=unit-behind&baud=115200", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(50, 20*time.Millisecond, moving)
		var held []byte
		for i := range 10 {
			held = append(held, moving(50+i)...)
		}
		time.Sleep(180 * time.Millisecond) // the tenth would come now
		b.link().in <- held
		time.Sleep(20 * time.Millisecond)
		b.sends(50, 20*time.Millisecond, func(i int) string { return moving(60 + i) })
		r := b.heard.readings
		require.Len(t, r, 110)
		for i := 1; i < len(r); i++ {
			assert.InDelta(t, 0.02, (r[i].At - r[i-1].At).Seconds(), 0.0015, "reading %d", i)
		}
	})
}

func TestLiveWordWords(t *testing.T) {
	words := []string{"connecting", "live", "silent", "lost"}
	for s := Opening; s <= Closed; s++ {
		assert.True(t, slices.Contains(words, s.LiveWord()), s.String())
	}
}
