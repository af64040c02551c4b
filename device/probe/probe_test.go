package probe

import (
	"context"
	"errors"
	"fmt"
	"math/bits"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/port"
)

// uart is the level of a serial line in time, as a device at some speed drives
// it, received by a port that may be set to another speed.
type uart struct {
	levels []bool  // of each bit of the sender
	baud   float64 // of the sender
	set    float64 // of the receiver
	at     float64 // seconds into the levels
	start  time.Time
}

// sender puts text on the line, char bits each, with parity if seven.
func sender(text string, baud int, parity byte) *uart {
	u := &uart{baud: float64(baud), start: time.Now()}
	for _, c := range []byte(text) {
		if parity != 'N' {
			ones := bits.OnesCount8(c & 0x7f)
			if (ones%2 == 1) == (parity == 'E') {
				c |= 0x80
			}
		}
		u.levels = append(u.levels, false)
		for i := range 8 {
			u.levels = append(u.levels, c>>i&1 == 1)
		}
		u.levels = append(u.levels, true)
	}
	return u
}

func (u *uart) level(seconds float64) bool {
	i := int(seconds * u.baud)
	return i >= len(u.levels) || u.levels[i]
}

func (u *uart) Tune(baud int) error {
	if baud == 57600 {
		return errors.New("this converter does not have it")
	}
	u.set = float64(baud)
	u.at = time.Since(u.start).Seconds()
	return nil
}

// Read receives what came until now, as a receiver chip does: it waits for the
// edge of a start bit and looks at the middle of each bit. A byte without a
// stop bit comes as NUL.
func (u *uart) Read(p []byte) (int, error) {
	time.Sleep(port.ReadPause)
	now := time.Since(u.start).Seconds()
	n := 0
	for n < len(p) {
		for u.at < now && u.level(u.at) {
			u.at += 1 / u.set / 16
		}
		if u.at+10/u.set >= now {
			break
		}
		var c byte
		for i := range 8 {
			if u.level(u.at + (float64(i)+1.5)/u.set) {
				c |= 1 << i
			}
		}
		if !u.level(u.at + 9.5/u.set) {
			c = 0
		}
		u.at += 9.5 / u.set
		p[n] = c
		n++
	}
	return n, nil
}

// devices that print at a speed, with a pause between lines as long as the
// line, for half a minute.
func talk(baud int, line func(i int) string) string {
	var b []byte
	for i := 0; len(b) < baud*3; i++ {
		b = append(b, line(i)...)
	}
	return string(b)
}

func TestProbeFindsTheSpeed(t *testing.T) {
	for _, c := range []struct {
		baud   int
		parity byte
	}{{9600, 'N'}, {9600, 'E'}, {9600, 'O'}, {4800, 'N'}, {4800, 'E'}, {19200, 'N'}, {38400, 'N'}, {115200, 'N'}, {2400, 'N'}, {1200, 'N'}, {1200, 'E'}} {
		t.Run(fmt.Sprintf("%d%c", c.baud, c.parity), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				start := time.Now()
				var steps []Step
				u := sender(talk(c.baud, func(i int) string { return fmt.Sprintf("%+08.3f mm\r\n", float64(i*37%5000)/1000) }), c.baud, c.parity)
				r, err := probe(t.Context(), u, func(s Step) { steps = append(steps, s) })
				require.NoError(t, err)
				assert.True(t, r.Sure, "%+v", r)
				assert.Equal(t, c.baud, r.Best.Line.Baud, "%+v", r.Steps)
				want := address.Line{Baud: c.baud, Bits: 8, Parity: 'N', Stop: "1"}
				if c.parity != 'N' {
					want.Bits, want.Parity = 7, c.parity
				}
				assert.Equal(t, want, r.Best.Line)
				assert.Equal(t, steps, r.Steps)
				assert.LessOrEqual(t, time.Since(start), probeAtMost+time.Second)
			})
		})
	}
}

// A board of this project's is known by its lines, and listened to until it says
// its version, which it does every two seconds.
func TestProbeKnowsTheBoard(t *testing.T) {
	line := func(body string) string {
		var x byte
		for i := range len(body) {
			x ^= body[i]
		}
		return fmt.Sprintf("$%s*%02X\r\n", body, x)
	}
	for version, want := range map[string]string{"LOBESCRIBE BOARD 2 BITS 24": "firmware 2", "LOBESCRIBE BOARD 1": "version 1, and 2 is current"} {
		synctest.Test(t, func(t *testing.T) {
			u := sender(talk(115200, func(i int) string {
				if i%1000 == 999 {
					return line(fmt.Sprintf("%d,%s,%d", 3*i, version, i%256))
				}
				return line(fmt.Sprintf("%d,%.2fmm,%d", 3*i, float64(i%80)/10, i%256))
			}), 115200, 'N')
			r, err := probe(t.Context(), u, nil)
			require.NoError(t, err)
			assert.True(t, r.Sure)
			assert.Equal(t, version, r.Best.Firmware)
			assert.Contains(t, r.Says, want)
			assert.Contains(t, r.Says, "board of this project")
		})
	}
}

// What nothing in the lines tells is said, with the key that settles it.
func TestProbeSaysWhatItAssumes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, err := probe(t.Context(), sender(talk(9600, func(i int) string { return fmt.Sprintf("%.3f\r\n", float64(i%50)/10) }), 9600, 'N'), nil)
		require.NoError(t, err)
		assert.True(t, r.Sure)
		assert.Contains(t, r.Best.Assumes, "unit=")
		assert.Contains(t, r.Says, "assumed: ")

		r, err = probe(t.Context(), sender(talk(9600, func(i int) string { return fmt.Sprintf("%.3f mm\r\n", float64(i%50)/10) }), 9600, 'N'), nil)
		require.NoError(t, err)
		assert.Empty(t, r.Best.Assumes)
		assert.NotContains(t, r.Says, "assumed")
	})
}

func TestProbeOfASilentPortAndOfNoise(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		r, err := probe(t.Context(), sender("", 9600, 'N'), nil)
		require.NoError(t, err)
		assert.False(t, r.Sure)
		assert.Contains(t, r.Says, "nothing came")
		assert.Less(t, time.Since(start), 6*time.Second, "silence is the same at any speed")

		start = time.Now()
		r, err = probe(t.Context(), sender(talk(9600, func(i int) string { return string(byte(i*7919>>3)) + "\x91\x13" }), 9600, 'N'), nil)
		require.NoError(t, err)
		assert.False(t, r.Sure)
		assert.Contains(t, r.Says, "at no speed")
		assert.LessOrEqual(t, time.Since(start), probeAtMost+time.Second)

		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		start = time.Now()
		_, err = probe(ctx, sender("", 9600, 'N'), nil)
		require.NoError(t, err)
		assert.Zero(t, time.Since(start), "it stops when told")
	})
}
