package device

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/port"
)

// restingLink is a port that can be left alone, and whose lines come at given times.
type restingLink struct {
	began  time.Time
	come   []time.Duration
	given  int
	rested bool
}

// due puts the lines that have come into b.
func (l *restingLink) due(b []byte) (n int) {
	for l.given < len(l.come) && time.Since(l.began) >= l.come[l.given] {
		n += copy(b[n:], moving(l.given))
		l.given++
	}
	return n
}

func (l *restingLink) Gatherer() port.Gatherer { return l }

func (l *restingLink) Rest(wait time.Duration) error {
	time.Sleep(wait)
	l.rested = true
	return nil
}

func (l *restingLink) Gather(b *port.Batch, clock func() measure.Stamp, hold measure.Stamp) error {
	if l.rested {
		l.rested = false
		if n := l.due(b.Free()); n > 0 {
			add := b.Add
			if hold == port.NextRead {
				add = b.AddRested
			}
			if add(n, clock()); b.Ripe(hold) {
				return nil
			}
		}
	}
	for l.given < len(l.come) {
		wait := l.come[l.given] - time.Since(l.began)
		if wait > 300*time.Millisecond {
			time.Sleep(300 * time.Millisecond)
			return nil
		}
		time.Sleep(wait)
		if b.Add(l.due(b.Free()), clock()); b.Ripe(hold) {
			return nil
		}
	}
	return io.EOF
}

func (l *restingLink) Read([]byte) (int, error)    { panic("it is a Gatherer") }
func (l *restingLink) Write(b []byte) (int, error) { return len(b), nil }
func (l *restingLink) Close() error                { return nil }

// Of a device that sends evenly most readings come while its port is left alone, and
// have their times all the same: they are placed between two that
// were read as they came. No port is left alone whose device is not even, nor where
// nobody lets its readings wait so long.
func TestAnEvenDevicesPortIsLeftAlone(t *testing.T) {
	every := func(period float64, stray func(i int) float64) (come []time.Duration) {
		for i := range 2000 {
			come = append(come, time.Duration(1e9*(0.5+float64(i)*period+stray(i))))
		}
		return come
	}
	noise := rand.New(rand.NewPCG(1, 2))
	within := func(most float64) func(int) float64 {
		return func(int) float64 { return most * noise.Float64() }
	}
	for _, c := range []struct {
		name      string
		come      []time.Duration
		gather    time.Duration
		most      int     // reads in a hundred readings
		mean, off float64 // ms that times are off; of the readings before a line that is missing, or a pause, nothing tells when in the rest they came
	}{
		{"even", every(0.010, within(0)), 250 * time.Millisecond, 16, 0.01, 0.1},
		{"even but for a busy computer", every(0.010, within(0.001)), 250 * time.Millisecond, 16, 0.6, 1.5},
		{"forty a second", every(0.025, within(0.001)), 250 * time.Millisecond, 30, 0.6, 1.5},
		{"not even", every(0.010, within(0.008)), 250 * time.Millisecond, 100, 0.09, 0.1},
		{"a converter that hands over every 16 ms", every(0.010, func(i int) float64 {
			at := float64(i) * 0.010
			return math.Ceil(at/0.016)*0.016 - at
		}), 250 * time.Millisecond, 100, 3.1, 8.1}, // as where nobody lets them wait
		{"a second instrument beside it", every(0.010, within(0)), 100 * time.Millisecond, 100, 0.09, 0.1},
		{"each wanted at once", every(0.010, within(0)), 0, 100, 0.09, 0.1},
		{"a line missing now and then", every(0.010, func(i int) float64 { return 0.010 * float64(i/400) }), 250 * time.Millisecond, 25, 0.5, 10.5},
		{"a pause", every(0.010, func(i int) float64 { return 0.15 * float64(i/1000) }), 250 * time.Millisecond, 25, 2, 151},
		{"another pace from the middle on", every(0.010, func(i int) float64 { return 0.010 * float64(max(0, i-1000)) }), 250 * time.Millisecond, 40, 1, 130},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithCancel(t.Context())
				l := &restingLink{began: time.Now(), come: c.come}
				dialled := false
				s := Open(ctx, at(t, "serial:x?baud=115200&format=unit-behind"), Options{
					Clock:  func() measure.Stamp { return measure.StampOf(time.Since(l.began)) },
					awake:  func() time.Duration { return time.Since(l.began) },
					Gather: func() time.Duration { return c.gather },
					Dial: func(context.Context, address.Address) (port.Link, error) {
						if dialled {
							return nil, fmt.Errorf("it was open once")
						}
						dialled = true
						return l, nil
					}})
				heard := listen(s)
				time.Sleep(c.come[len(c.come)-1] + time.Second)
				synctest.Wait()
				cancel()
				<-heard.done
				require.Len(t, heard.readings, len(c.come))
				sum, worst := 0.0, 0.0
				for i, r := range heard.readings {
					off := math.Abs(r.At.Seconds()-c.come[i].Seconds()) * 1e3
					sum, worst = sum+off, max(worst, off)
					if i > 0 {
						assert.GreaterOrEqual(t, r.At, heard.readings[i-1].At)
					}
				}
				reads := int(s.Counters().Chunks) * 100 / len(c.come)
				t.Logf("%d reads in a hundred readings; times off by %.3f ms in the mean, %.2f at most", reads, sum/float64(len(c.come)), worst)
				assert.LessOrEqual(t, reads, c.most)
				if c.most == 100 {
					assert.Greater(t, reads, 50)
				}
				assert.LessOrEqual(t, sum/float64(len(c.come)), c.mean)
				assert.LessOrEqual(t, worst, c.off)
			})
		})
	}
}
