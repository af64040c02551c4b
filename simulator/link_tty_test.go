//go:build linux || darwin

package simulator

import (
	"bufio"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"
)

// openPort opens a simulated port as a program would, without making it its
// controlling terminal, and so that reading has a deadline.
func openPort(t *testing.T, address string) *os.File {
	t.Helper()
	path, _, _ := strings.Cut(strings.TrimPrefix(address, "serial:"), "?")
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	require.NoError(t, err)
	f := os.NewFile(uintptr(fd), path)
	t.Cleanup(func() { f.Close() })
	require.NoError(t, f.SetDeadline(time.Now().Add(patientTimeout)))
	return f
}

func TestTTYTalksUnplugsAndComesBack(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	dir := filepath.Join(t.TempDir(), "ports")
	bench, err := NewBench(BenchOptions{})
	require.NoError(t, err)
	l, err := Serve(t.Context(), bench, ServeOptions{Speed: 20, Dir: dir})
	require.NoError(t, err)
	defer func() { assert.NoError(t, l.Close()) }()
	assert.Equal(t, "serial:"+filepath.Join(dir, "indicator")+"?baud=115200&format=auto", l.Indicator.Address())

	port := openPort(t, l.Indicator.Address())
	lines := bufio.NewReader(port)
	wholeLine(t, lines)
	for range 20 {
		assert.Regexp(t, `^-?[0-9]+\.[0-9]{4} in\r\n$`, wholeLine(t, lines), "raw: the CR is there")
	}
	counts := bufio.NewReader(openPort(t, l.Encoder.Address()))
	wholeLine(t, counts)
	assert.Regexp(t, `^-?[0-9]+\r\n$`, wholeLine(t, counts))

	require.NoError(t, l.Indicator.Unplug())
	require.NoError(t, l.Indicator.Unplug(), "twice is once")
	for err == nil {
		_, err = port.Read(make([]byte, 100))
	}
	assert.NotErrorIs(t, err, os.ErrDeadlineExceeded, "it broke and did not hang")
	_, err = os.Lstat(filepath.Join(dir, "indicator"))
	require.ErrorIs(t, err, os.ErrNotExist)
	wholeLine(t, counts) // the other one goes on

	require.NoError(t, l.Indicator.Replug())
	again := bufio.NewReader(openPort(t, l.Indicator.Address()))
	wholeLine(t, again)
	wholeLine(t, again)

	require.NoError(t, l.Close())
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Empty(t, left, "the links are gone")
}

func TestTTYDoesNotEchoAndAnswersAPoll(t *testing.T) {
	l, err := OpenLink(LinkOptions{Poll: "READ\r"})
	require.NoError(t, err)
	defer l.Close()
	assert.Regexp(t, `^serial:/dev/.*\?poll=READ%0D$`, l.Address())
	port := openPort(t, l.Address())
	_, err = l.Write([]byte("0.4200 in\r\n"))
	require.NoError(t, err)
	r := bufio.NewReader(port)
	for range 3 {
		_, err = port.Write([]byte("READ\r"))
		require.NoError(t, err)
		assert.Equal(t, "0.4200 in\r\n", wholeLine(t, r), "the answer and nothing else")
	}
}

// All 256 bytes pass both ways as they are.
func TestTTYIsRaw(t *testing.T) {
	l, err := OpenLink(LinkOptions{})
	require.NoError(t, err)
	defer l.Close()
	port := openPort(t, l.Address())
	var all []byte
	for b := range 256 {
		all = append(all, byte(b))
	}
	_, err = l.Write(all)
	require.NoError(t, err)
	got := make([]byte, 0, 256)
	for len(got) < 256 {
		n, err := port.Read(got[len(got):256])
		require.NoError(t, err)
		got = got[:len(got)+n]
	}
	assert.Equal(t, all, got)
}

// Whoever opens the port after nobody listened for long gets what is sent now,
// not a buffer full of old readings.
func TestTTYForgetsWhatNobodyRead(t *testing.T) {
	l, err := OpenLink(LinkOptions{})
	require.NoError(t, err)
	defer l.Close()
	stop := time.Now().Add(3500 * time.Millisecond)
	for time.Now().Before(stop) {
		_, err = l.Write([]byte("old old old old old old old old\n"))
		require.NoError(t, err)
		time.Sleep(20 * time.Millisecond)
	}
	port := openPort(t, l.Address())
	_, err = l.Write([]byte("new\n"))
	require.NoError(t, err)
	r, old := bufio.NewReader(port), 0
	for wholeLine(t, r) != "new\n" {
		old++
	}
	assert.Less(t, old, 120, "of some 170 that nobody read")
}

func TestTTYLeavesOtherFilesAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "indicator")
	require.NoError(t, os.WriteFile(path, []byte("notes"), 0o600))
	_, err := OpenLink(LinkOptions{Path: path})
	require.ErrorContains(t, err, "is no symbolic link")
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "notes", string(b))
}
