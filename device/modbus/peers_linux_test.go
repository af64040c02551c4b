package modbus_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/modbus"
	"lobescribe/device/wire"
)

// peer is a bus device that others wrote, on a pseudo-tty whose other end is line.
type peer struct {
	line *os.File
	at   []stands
	stop func()
}

// ask is ask, but ends the peer where it does not answer.
func (p *peer) ask(t *testing.T, d *modbus.Decoder) wire.Out {
	t.Helper()
	patience := time.AfterFunc(20*time.Second, p.stop)
	defer patience.Stop()
	return ask(t, d, p.line)
}

// stands says where in the peer a number stands.
type stands struct {
	Table, Order, Type string
	Register           int
	Value              float64
}

// address returns the address of it, for a port.
func (s stands) address(port string) string {
	unit := "scale=0.000001mm"
	if s.Type == "float32" {
		unit = "unit=mm"
	}
	return fmt.Sprintf("serial:%s?baud=115200&format=modbus&slave=17&table=%s&register=%d&type=%s&order=%s&%s", port, s.Table, s.Register, s.Type, s.Order, unit)
}

// startPeer runs a program with the name of a pseudo-tty behind its arguments
// until it says that it is ready.
func startPeer(t *testing.T, argv ...string) *peer {
	t.Helper()
	master, tty, err := pty.Open()
	require.NoError(t, err)
	raw, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS)
	require.NoError(t, err)
	raw.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG
	raw.Iflag &^= unix.ICRNL | unix.IXON
	raw.Oflag &^= unix.OPOST
	require.NoError(t, unix.IoctlSetTermios(int(tty.Fd()), unix.TCSETS, raw))
	cmd := exec.Command(argv[0], append(argv[1:], tty.Name())...)
	var said strings.Builder
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	stop := sync.OnceFunc(func() {
		cmd.Process.Kill()
		cmd.Wait()
		tty.Close()
		master.Close()
	})
	t.Cleanup(func() {
		stop()
		if t.Failed() {
			t.Log("the peer said: ", said.String())
		}
	})
	p := &peer{line: master, stop: stop}
	for in := bufio.NewScanner(out); in.Scan(); {
		if in.Text() == "ready" {
			return p
		}
		var s stands
		require.NoError(t, json.Unmarshal(in.Bytes(), &s), "%s", in.Text())
		p.at = append(p.at, s)
	}
	cmd.Wait()
	t.Fatalf("%v ended: %s", argv, &said)
	return nil
}

// peers are the devices, and how many numbers each has.
func peers(t *testing.T) map[string]struct {
	start   func(t *testing.T) *peer
	numbers int
} {
	if os.Getenv("LOBESCRIBE_PEERS") == "" {
		t.Skip("LOBESCRIBE_PEERS=1 asks for the tests against pymodbus and libmodbus (Debian: python3-pymodbus, libmodbus-dev, gcc, pkg-config)")
	}
	slave := filepath.Join(t.TempDir(), "slave")
	flags, err := exec.Command("pkg-config", "--cflags", "--libs", "libmodbus").Output()
	require.NoError(t, err, "apt-get install libmodbus-dev pkg-config")
	out, err := exec.Command("cc", append([]string{"-Wall", "-Wno-overflow", "-o", slave, "testdata/peers/slave.c"}, strings.Fields(string(flags))...)...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return map[string]struct {
		start   func(t *testing.T) *peer
		numbers int
	}{
		"libmodbus": {func(t *testing.T) *peer { return startPeer(t, slave) }, 2 * 8},
		"pymodbus":  {func(t *testing.T) *peer { return startPeer(t, "/usr/bin/python3", "testdata/peers/slave.py") }, 2 * 5 * 4},
	}
}

// Every type in every order, from both tables, and what is no number: a register
// that there is not, one that fails, and a device that is not on the line.
func TestNumbersOfOtherPeoplesDevices(t *testing.T) {
	for name, with := range peers(t) {
		t.Run(name, func(t *testing.T) {
			p := with.start(t)
			require.Len(t, p.at, with.numbers)
			decoder := func(s stands) *modbus.Decoder {
				a, err := address.Parse(s.address("/dev/null"))
				require.NoError(t, err)
				d, err := device.NewDecoder(a, device.DecoderOptions{})
				require.NoError(t, err)
				return d.(*modbus.Decoder)
			}
			for _, s := range p.at {
				out := p.ask(t, decoder(s))
				require.Len(t, out.Readings, 1, "%+v: %+v", s, out)
				want := measure.Length(s.Value)
				if s.Type == "float32" {
					want = measure.Length(float64(float32(s.Value)) * float64(measure.Millimetre))
				}
				assert.InDelta(t, int64(want), int64(out.Readings[0].Lift), 1, "%+v", s)
			}
			for register, says := range map[int]string{2000: "exception 2", 910: "exception 4"} {
				out := p.ask(t, decoder(stands{Table: "holding", Type: "int16", Order: "ABCD", Register: register}))
				assert.Empty(t, out.Readings)
				require.Len(t, out.Conditions, 1)
				assert.Contains(t, out.Conditions[0].Says, says)
			}
		})
	}
}

// A device that takes 450 ms to answer, longer than is waited at first: it is
// waited for longer, so that requests do not pile up before it, and its readings
// are of their own requests.
func TestADeviceThatAnswersLate(t *testing.T) {
	for name, with := range peers(t) {
		t.Run(name, func(t *testing.T) {
			p := with.start(t)
			ours, tty, err := pty.Open()
			require.NoError(t, err)
			defer tty.Close()
			for from, to := range map[*os.File]*os.File{ours: p.line, p.line: ours} {
				go io.Copy(to, from) // ends when the lines are closed
			}
			defer ours.Close()
			a, err := address.Parse(stands{Table: "holding", Order: "ABCD", Type: "int32", Register: 900}.address(tty.Name()))
			require.NoError(t, err)
			ctx, cancel := context.WithCancel(t.Context())
			s := device.Open(ctx, a, device.Options{})
			var mu sync.Mutex
			var ages []time.Duration // beside each other: the peer has another clock
			done := make(chan struct{})
			go func() {
				defer close(done)
				for e := range s.Events() {
					for _, r := range e.Readings {
						mu.Lock()
						ages = append(ages, r.At.Duration()-time.Duration(r.Lift)*time.Millisecond)
						mu.Unlock()
					}
				}
			}()
			require.Eventually(t, func() bool { mu.Lock(); defer mu.Unlock(); return len(ages) >= 16 }, time.Minute, 10*time.Millisecond)
			cancel()
			<-done
			least := ages[0]
			for _, age := range ages {
				least = min(least, age)
			}
			c := s.Counters()
			t.Logf("%d requests, %d readings, refused %+v", c.Asked, c.Readings, c.Refused)
			assert.LessOrEqual(t, c.Asked, c.Readings+3, "the two of the beginning, and the one under way")
			assert.LessOrEqual(t, c.Refused.Total(), int64(3))
			assert.EqualValues(t, 1, c.Opens)
			for i, age := range ages {
				assert.Less(t, age-least, 300*time.Millisecond, "reading %d is older than the others", i)
			}
		})
	}
}
