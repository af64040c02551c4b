//go:build unix

package device

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lobescribe/device/address"
	"lobescribe/device/dial"
	"lobescribe/device/measure"
)

// openPty makes a pseudo-tty. The device speaks on the master.
func openPty(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, slave, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { master.Close(); slave.Close() })
	return master, slave
}

func TestReadingsThroughAPseudoTTY(t *testing.T) {
	defer goleak.VerifyNone(t)
	master, slave := openPty(t)
	ctx, cancel := context.WithCancel(t.Context())
	s := Open(ctx, at(t, "serial:%s?format=unit-behind", slave.Name()), Options{})
	l := listen(s)
	eventually(t, "open", func() bool { return s.Counters().Opens == 1 && s.Status().State == Settling })
	for i := range 20 {
		fmt.Fprintf(master, "0.%04d in\r\n", i*10)
	}
	// The first line is whole or not, depending on how long the port was
	// silent before; the last is not.
	eventually(t, "the last reading", func() bool {
		got := l.lifts()
		return len(got) > 0 && got[len(got)-1] == 19*measure.Thou
	})
	assert.GreaterOrEqual(t, len(l.lifts()), 19)
	cancel()
	<-l.done
	assert.Equal(t, Closed, s.Status().State)
	assert.NotEmpty(t, s.RawTail())
}

func TestReconnectOverTCP(t *testing.T) {
	defer goleak.VerifyNone(t)
	before := descriptors(t)
	server, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	s := Open(ctx, at(t, "tcp://%s?format=unit-behind", server.Addr()), Options{wait: backoff{first: time.Millisecond}})
	l := listen(s)
	const cycles = 200
	var want []measure.Length
	for i := range cycles {
		c, err := server.Accept()
		require.NoError(t, err)
		_, err = fmt.Fprintf(c, "garbage\r\n%d.%03d mm\r\n%d.500 mm\r\n", i%20, i, i%20)
		require.NoError(t, err)
		c.Close()
		want = append(want, measure.Length(i%20*1_000_000+i*1000), measure.Length(i%20*1_000_000+500_000))
	}
	eventually(t, "all readings", func() bool { return len(l.lifts()) >= len(want) })
	assert.Equal(t, want, l.lifts(), "no reading that arrived is lost, none is made up")
	cancel()
	<-l.done
	server.Close()
	assert.Equal(t, cycles-1, l.gaps())
	for i := 1; i < len(l.readings); i++ {
		require.Greater(t, l.readings[i].At, l.readings[i-1].At, "time goes forward")
	}
	assert.Equal(t, before, descriptors(t), "open descriptors")
}

func descriptors(t *testing.T) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("no /proc here to count descriptors with")
	}
	return len(entries)
}

func TestAbsentPortIsAStateAndComesBack(t *testing.T) {
	defer goleak.VerifyNone(t)
	name := filepath.Join(t.TempDir(), "tty")
	ctx, cancel := context.WithCancel(t.Context())
	s := Open(ctx, at(t, "serial:%s?format=plain", name), Options{})
	l := listen(s)
	eventually(t, "absent", func() bool { return s.Status().State == Absent })
	assert.Contains(t, s.Status().Says, "is it plugged in?")
	master, slave := openPty(t)
	require.NoError(t, os.Symlink(slave.Name(), name))
	eventually(t, "settling", func() bool { return s.Status().State == Settling })
	eventually(t, "a reading", func() bool {
		fmt.Fprintf(master, "1.25\r\n")
		return len(l.lifts()) > 0
	})
	cancel()
	<-l.done
}

// The device stalls and its tty stays open: seen within some seconds and
// opened again, and the readings after it come through.
func TestAStalledPseudoTTYIsOpenedAgain(t *testing.T) {
	defer goleak.VerifyNone(t)
	master, slave := openPty(t)
	ctx, cancel := context.WithCancel(t.Context())
	s := Open(ctx, at(t, "serial:%s?format=unit-behind&rate=50&dtr=off&rts=on", slave.Name()), Options{})
	l := listen(s)
	eventually(t, "live", func() bool {
		fmt.Fprint(master, "0.500 mm\r\n")
		return s.Status().LiveWord() == "live"
	})
	eventually(t, "never green on a dead link", func() bool { return s.Status().LiveWord() == "silent" })
	eventually(t, "opened again", func() bool { return s.Counters().Opens > 1 })
	eventually(t, "live again", func() bool {
		fmt.Fprint(master, "0.500 mm\r\n")
		return s.Status().LiveWord() == "live" && l.gaps() == 1
	})
	cancel()
	<-l.done
}

// A pulled and replugged tty, again and again: the readings that came before
// the pull are all there, and nothing is left open.
func TestReplugOfAPseudoTTY(t *testing.T) {
	defer goleak.VerifyNone(t)
	before := descriptors(t)
	name := filepath.Join(t.TempDir(), "tty")
	ctx, cancel := context.WithCancel(t.Context())
	s := Open(ctx, at(t, "serial:%s?format=unit-behind", name), Options{quietStart: 1 << 60, wait: backoff{first: time.Millisecond, most: 5 * time.Millisecond}})
	l := listen(s)
	const cycles = 200
	var want []measure.Length
	for i := range cycles {
		master, slave, err := pty.Open()
		require.NoError(t, err)
		require.NoError(t, os.Symlink(slave.Name(), name))
		slave.Close()
		opens := int64(i + 1)
		eventually(t, "open", func() bool { return s.Counters().Opens >= opens && s.Status().State == Settling })
		for k := range 3 {
			fmt.Fprintf(master, "\r\n%d.%03d mm\r\n", i%20, k)
			want = append(want, measure.Length(i%20)*measure.Millimetre+measure.Length(k)*measure.Micrometre)
		}
		eventually(t, "readings", func() bool { return len(l.lifts()) >= len(want) })
		require.NoError(t, os.Remove(name))
		require.NoError(t, master.Close())
		eventually(t, "absent", func() bool { return s.Status().State == Absent })
		assert.Equal(t, opens, s.Counters().Opens)
	}
	cancel()
	<-l.done
	assert.Equal(t, want, l.lifts())
	assert.Equal(t, cycles-1, l.gaps())
	assert.Equal(t, before, descriptors(t), "open descriptors")
}

// A tty whose buffer is full takes no request. That holds up neither what it
// says nor the end.
func TestPollingALineThatTakesNothing(t *testing.T) {
	defer goleak.VerifyNone(t)
	master, slave := openPty(t)
	fd, err := syscall.Open(slave.Name(), syscall.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	require.NoError(t, err)
	defer syscall.Close(fd)
	first, err := dial.Port(slave.Name(), address.Address{}) // makes it raw, as it will be
	require.NoError(t, err)
	require.NoError(t, first.Close())
	for _, n := range []int{512, 1} {
		for full := false; !full; {
			_, err := syscall.Write(fd, make([]byte, n))
			full = err != nil
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	s := Open(ctx, at(t, "serial:%s?format=unit-behind&poll=?&rate=1000", slave.Name()), Options{})
	l := listen(s)
	eventually(t, "asked", func() bool { return s.Counters().Asked > 0 })
	eventually(t, "a reading all the same", func() bool {
		fmt.Fprint(master, "1.500 mm\r\n")
		return len(l.lifts()) > 0
	})
	cancel()
	<-l.done
	master.Close() // frees whatever still hangs in a write
}
