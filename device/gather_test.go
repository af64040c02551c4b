package device

import (
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

// millisecondLink sends a byte a millisecond for a second, and then ends.
type millisecondLink struct {
	began time.Time
	given int
}

func (l *millisecondLink) Read(b []byte) (int, error) {
	if l.given >= 1000 {
		return 0, io.EOF
	}
	due := func() int { return min(int(time.Since(l.began)/time.Millisecond), 1000) - l.given }
	if due() == 0 {
		time.Sleep(time.Until(l.began.Add(time.Duration(l.given+1) * time.Millisecond)))
	}
	n := due()
	l.given += n
	return n, nil
}
func (l *millisecondLink) Write(b []byte) (int, error) { return len(b), nil }
func (l *millisecondLink) Close() error                { return nil }

// The bytes of a fast device gather for as long as is said and none is lost;
// nobody's do when somebody wants each at once, or when the device is slow.
func TestAFastDevicesBytesGather(t *testing.T) {
	for _, c := range []struct {
		name   string
		fast   bool
		gather time.Duration
		reads  int
	}{
		{"fast", true, time.Second / 60, 60},
		{"fast, and each wanted at once", true, 0, 1000},
		{"fast, and told to gather for too long", true, time.Hour, 10},
		{"slow", false, time.Second / 60, 1000},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				began := time.Now()
				clock := func() measure.Stamp { return measure.StampOf(time.Since(began)) }
				p := newPump(&millisecondLink{began: began}, clock, func() time.Duration { return c.gather })
				p.fast.Store(c.fast)
				go p.run()
				reads, bytes := 0, 0
				for b := range p.batches {
					reads, bytes = reads+len(b.Reads), bytes+b.Used()
					p.give(b)
				}
				assert.Equal(t, 1000, bytes)
				assert.InDelta(t, c.reads, reads, 0.1*float64(c.reads))
			})
		})
	}
}

// Where a device's rate lies about the limit, gathering does not come and go.
func TestGatheringHasTwoLimits(t *testing.T) {
	var w watch
	for _, c := range []struct {
		rate float64
		fast bool
	}{{400, false}, {600, false}, {750, true}, {600, true}, {500, true}, {400, false}, {600, false}} {
		w.rate = c.rate
		assert.Equal(t, c.fast, w.fast(), "at %v a second", c.rate)
	}
	w.rate, w.asks = 1000, true
	assert.False(t, w.fast(), "the answer to a request is waited for")
}

// A port is left unread for no longer than it takes so many bytes to come.
func TestNoMoreIsLeftUnreadThanTheSystemHolds(t *testing.T) {
	for _, unread := range []int{unreadBytes, patientBytes} {
		for _, aSecond := range []int{500, 11_500, 92_160} {
			p := pacing{unread: unread}
			wait, at := 10*time.Millisecond, measure.Stamp(0)
			for range 20 { // each read takes what came meanwhile
				at += measure.StampOf(wait)
				n := max(1, int(wait.Seconds()*float64(aSecond)))
				wait = p.after(n, at, patientMost)
				assert.Positive(t, wait)
				assert.LessOrEqual(t, wait, patientMost)
				assert.LessOrEqual(t, int(wait.Seconds()*float64(aSecond)), unread+unread/16, "at %d bytes a second", aSecond)
			}
		}
	}
}
