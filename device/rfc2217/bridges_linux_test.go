package rfc2217_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
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
	"lobescribe/device/rfc2217"
)

// ser2net starts a real bridge (the ser2net of Debian) on a pseudo-tty and
// returns its port. A machine without it skips the test, except where nothing
// may be skipped.
func ser2net(t *testing.T, tty string) (port int) {
	t.Helper()
	path, err := exec.LookPath("ser2net")
	if err != nil {
		path = "/usr/sbin/ser2net" // not on everybody's path
		if _, err = os.Stat(path); err != nil {
			if os.Getenv("LOBESCRIBE_NEED_CHROMIUM") != "" {
				t.Fatal("ser2net is missing, and nothing may be skipped here: apt-get install ser2net")
			}
			t.Skip("ser2net is missing: apt-get install ser2net")
		}
	}
	port = freePort(t)
	config := filepath.Join(t.TempDir(), "ser2net.yaml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, "connection: &bench\n  accepter: telnet(rfc2217),tcp,127.0.0.1,%d\n  connector: serialdev,%s,9600n81,local\n  options:\n    kickolduser: true\n", port, tty), 0o600))
	var said strings.Builder
	cmd := exec.Command(path, "-n", "-d", "-l", "-c", config)
	cmd.Stdout, cmd.Stderr = &said, &said
	running(t, cmd, &said)
	return port
}

// pyserial starts a bridge made of pyserial's port manager.
func pyserial(t *testing.T, tty string) (port int) {
	t.Helper()
	if os.Getenv("LOBESCRIBE_PEERS") == "" {
		t.Skip("LOBESCRIBE_PEERS=1 asks for the tests against pyserial's port manager (Debian: python3-serial)")
	}
	port = freePort(t)
	var said strings.Builder
	cmd := exec.Command("/usr/bin/python3", "testdata/peers/bridge.py", tty, strconv.Itoa(port))
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	running(t, cmd, &said)
	ready, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err, "apt-get install python3-serial")
	require.Equal(t, "ready\n", ready)
	return port
}

func freePort(t *testing.T) int {
	t.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer free.Close()
	return free.Addr().(*net.TCPAddr).Port
}

// running runs a bridge until the test ends, and shows what it said if that failed.
func running(t *testing.T, cmd *exec.Cmd, said *strings.Builder) {
	t.Helper()
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
		if t.Failed() {
			t.Log("the bridge said: ", said.String())
		}
	})
}

// bridges are the real ones, by others.
var bridges = map[string]func(t *testing.T, tty string) int{"ser2net": ser2net, "pyserial": pyserial}

// The speed, data bits, parity and stop bits of an address arrive at the tty
// behind a real bridge; every request goes out and every reading comes through.
func TestBehindARealBridge(t *testing.T) {
	for name, bridge := range bridges {
		line := "bits=7&parity=E&stop=2"
		if name == "pyserial" {
			line = "stop=2" // it fails where a pty does not take 7 bits and parity
		}
		t.Run(name, func(t *testing.T) { behindARealBridge(t, bridge, line) })
	}
}

func behindARealBridge(t *testing.T, bridge func(t *testing.T, tty string) int, line string) {
	master, tty, err := pty.Open()
	require.NoError(t, err)
	defer master.Close()
	defer tty.Close()
	port := bridge(t, tty.Name())
	a, err := address.Parse(fmt.Sprintf("rfc2217://127.0.0.1:%d?baud=19200&%s&format=unit-behind&poll=?\\r&rate=50", port, line))
	require.NoError(t, err)

	// The device: answers each request with the next of its readings.
	var answering sync.WaitGroup
	const readings = 200
	answering.Go(func() {
		request := make([]byte, 64)
		for i := 0; i < readings; {
			n, err := master.Read(request)
			if err != nil {
				return
			}
			for range strings.Count(string(request[:n]), "?\r") {
				fmt.Fprintf(master, "0.%04d in\r\n", i*5)
				i++
			}
		}
	})
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	s := device.Open(ctx, a, device.Options{})
	var mu sync.Mutex
	var lifts []measure.Length
	done := make(chan struct{})
	go func() {
		defer close(done)
		for e := range s.Events() {
			mu.Lock()
			for _, r := range e.Readings {
				lifts = append(lifts, r.Lift)
			}
			mu.Unlock()
		}
	}()
	require.Eventually(t, func() bool { mu.Lock(); defer mu.Unlock(); return len(lifts) == readings }, time.Minute, 10*time.Millisecond)
	mu.Lock()
	for i, l := range lifts {
		require.Equal(t, measure.Length(i)*measure.Thou/2, l)
	}
	mu.Unlock()

	set, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS2)
	require.NoError(t, err)
	assert.EqualValues(t, 19200, set.Ospeed)
	// A pty has no parity circuit: Linux drops PARENB and forces 8 bits there
	// (drivers/tty/pty.c, pty_set_termios), and keeps the stop bits.
	assert.NotZero(t, set.Cflag&unix.CSTOPB, "two stop bits")
	assert.Zero(t, s.Counters().Refused.NotANumber)
	cancel()
	<-done
	master.Close()
	answering.Wait()
}

// Every byte there is goes both ways through a real bridge, the doubled 255 and
// the ones of flow control among them.
func TestEveryByteThroughARealBridge(t *testing.T) {
	for name, bridge := range bridges {
		t.Run(name, func(t *testing.T) { everyByteThroughARealBridge(t, bridge) })
	}
}

func everyByteThroughARealBridge(t *testing.T, bridge func(t *testing.T, tty string) int) {
	master, tty, err := pty.Open()
	require.NoError(t, err)
	defer master.Close()
	defer tty.Close()
	port := bridge(t, tty.Name())
	var conn net.Conn
	require.Eventually(t, func() bool {
		conn, err = net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port))
		return err == nil
	}, time.Minute, 10*time.Millisecond)
	l, err := rfc2217.Open(t.Context(), conn, rfc2217.Settings{Baud: 115200})
	require.NoError(t, err)
	defer l.Close()
	every := make([]byte, 256)
	for i := range every {
		every[i] = byte(i)
	}
	got := make([]byte, 256)
	_, err = l.Write(every)
	require.NoError(t, err)
	_, err = io.ReadFull(master, got)
	require.NoError(t, err)
	assert.Equal(t, every, got)

	_, err = master.Write(every)
	require.NoError(t, err)
	for n := 0; n < 256; {
		k, err := l.Read(got[n:])
		require.NoError(t, err)
		n += k
	}
	assert.Equal(t, every, got)
}
