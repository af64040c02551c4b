package modbus_test

import (
	"context"
	"encoding/binary"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/port"
)

// line is a bus of 9600 baud, 8N1, with a device on it that answers 2 ms after
// the last byte of a request. It notes the silence before each request.
type line struct {
	answers chan []byte
	mu      sync.Mutex
	heard   time.Time // when the last answer ended
	silence []time.Duration
}

const byteTime = time.Second / 960

func (l *line) Read(p []byte) (int, error) {
	select {
	case a, ok := <-l.answers:
		if !ok {
			return 0, errors.New("unplugged")
		}
		l.mu.Lock()
		l.heard = time.Now()
		l.mu.Unlock()
		return copy(p, a), nil
	case <-time.After(100 * time.Millisecond):
		return 0, nil
	}
}

func (l *line) Write(p []byte) (int, error) {
	l.mu.Lock()
	if !l.heard.IsZero() {
		l.silence = append(l.silence, time.Since(l.heard))
	}
	l.mu.Unlock()
	go func() {
		answer := []byte{1, 3, 2, 0x02, 0x2B}
		answer = binary.LittleEndian.AppendUint16(answer, check(answer))
		time.Sleep(time.Duration(len(p)+len(answer))*byteTime + 2*time.Millisecond)
		l.answers <- answer
	}()
	return len(p), nil
}

func (l *line) Close() error { return nil }

// However fast it is to be asked, a bus is left silent for 3.5 characters before
// each request: 3.645833 ms at 9600 8N1 (Serial Line V1.02 p. 13, for characters
// of 10 bits).
func TestTheBusIsLeftSilentBeforeARequest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		a, err := address.Parse("serial:/dev/ttyUSB0?format=modbus&register=107&scale=0.001mm&rate=5000")
		require.NoError(t, err)
		l := &line{answers: make(chan []byte, 1)}
		ctx, cancel := context.WithCancel(t.Context())
		s := device.Open(ctx, a, device.Options{
			Clock: func() measure.Stamp { return measure.StampOf(time.Since(start)) },
			Dial:  func(context.Context, address.Address) (port.Link, error) { return l, nil },
		})
		readings := 0
		done := make(chan struct{})
		go func() {
			defer close(done)
			for e := range s.Events() {
				for _, r := range e.Readings {
					readings++
					assert.Equal(t, 555*measure.Micrometre, r.Lift)
				}
			}
		}()
		time.Sleep(5 * time.Second)
		cancel()
		<-done
		time.Sleep(time.Second) // the last answer
		require.Greater(t, len(l.silence), 150)
		for _, d := range l.silence {
			require.GreaterOrEqual(t, d, 3645833*time.Nanosecond)
		}
		assert.GreaterOrEqual(t, readings, len(l.silence)-1)
		assert.Zero(t, s.Counters().Refused.Total())
	})
}
