//go:build unix

package modbus_test

import (
	"context"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	library "github.com/simonvetter/modbus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
)

// A device of the library behind a real pseudo-tty, read as any other: answers,
// a wrong check, an exception, silence, and answers again.
func TestADeviceOnAPseudoTTY(t *testing.T) {
	slave := &registers{holding: map[uint16]uint16{}}
	server := serveLibrary(t, slave)
	theirs := goleak.IgnoreCurrent() // the server's
	master, tty, err := pty.Open()
	require.NoError(t, err)

	var mu sync.Mutex
	mode := ""
	set := func(m string) { mu.Lock(); mode = m; mu.Unlock() }
	spoil := func(answer []byte) []byte {
		mu.Lock()
		defer mu.Unlock()
		switch mode {
		case "wrong check":
			answer[len(answer)-1] ^= 0xFF
		case "silent":
			return nil
		}
		return answer
	}
	var line sync.WaitGroup
	line.Go(func() { assert.NoError(t, gateway(master, server, nil, spoil)) })

	bits := math.Float32bits(12.7)
	slave.set(0x6B, uint16(bits), uint16(bits>>16)) // low word first
	a, err := address.Parse(fmt.Sprintf("serial:%s?format=modbus&slave=17&register=107&type=float32&order=low&unit=mm&rate=50", tty.Name()))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	s := device.Open(ctx, a, device.Options{})
	var readings []measure.Reading
	done := make(chan struct{})
	go func() {
		defer close(done)
		for e := range s.Events() {
			mu.Lock()
			readings = append(readings, e.Readings...)
			mu.Unlock()
		}
	}()
	count := func() int { mu.Lock(); defer mu.Unlock(); return len(readings) }
	eventually := func(what string, is func() bool) {
		require.Eventually(t, is, 30*time.Second, 5*time.Millisecond, what)
	}
	eventually("readings", func() bool { return count() >= 10 })
	assert.Equal(t, "live", s.Status().LiveWord(), s.Status().Says)
	assert.Contains(t, s.Status().FormatSays, "float32 CDAB in holding register 107 of device 17")

	set("wrong check")
	eventually("counted", func() bool { return s.Counters().Refused.BadChecksum >= 3 })
	set("")
	n := count()
	eventually("readings again", func() bool { return count() > n+3 })

	slave.fail(library.ErrIllegalDataAddress)
	eventually("a condition", func() bool { return s.Status().Condition != "" })
	assert.Contains(t, s.Status().Condition, "no holding register 107")
	slave.fail(nil)

	set("silent")
	eventually("never green on a dead link", func() bool { return s.Status().LiveWord() == "silent" })
	assert.Positive(t, s.Counters().Refused.Unanswered)
	set("")
	n = count()
	eventually("readings again", func() bool { return count() > n+3 })

	cancel()
	<-done
	for _, r := range readings {
		require.Equal(t, 12_700*measure.Micrometre, r.Lift)
		require.Equal(t, measure.HasLift, r.Has)
	}
	tty.Close()
	master.Close()
	line.Wait()
	goleak.VerifyNone(t, theirs)
}
