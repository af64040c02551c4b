//go:build unix

package main

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
	"lobescribe/device"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// serviceManager listens as one does; the lines of each message come out of it.
func serviceManager(t *testing.T) (env string, lines <-chan string) {
	t.Helper()
	dir, err := os.MkdirTemp("", "sd") // a socket's name is at most 100 bytes or so
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	name := filepath.Join(dir, "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	out := make(chan string, 1<<16)
	go func() {
		defer close(out)
		for b := make([]byte, 4096); ; {
			n, err := c.Read(b)
			if err != nil {
				return
			}
			for line := range strings.SplitSeq(string(b[:n]), "\n") {
				out <- line
			}
		}
	}()
	return "NOTIFY_SOCKET=" + name, out
}

// until waits for a line and returns what came up to it.
func until(t *testing.T, lines <-chan string, is func(string) bool) (all []string) {
	t.Helper()
	for late := time.After(patience); ; {
		select {
		case line, ok := <-lines:
			require.True(t, ok, "the socket closed after %q", all)
			if all = append(all, line); is(line) {
				return all
			}
		case <-late:
			t.Fatalf("it does not come; what came: %q", all)
		}
	}
}

func equals(want string) func(string) bool { return func(s string) bool { return s == want } }

// sd_notify(3) and sd_watchdog_enabled(3), systemd's manual pages, say what the
// words mean: READY=1, STOPPING=1, STATUS=…, WATCHDOG=1 within WATCHDOG_USEC.
func TestServiceManagerIsTold(t *testing.T) {
	t.Parallel()
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=unit-behind"})
	require.NoError(t, err)
	defer link.Close()
	env, lines := serviceManager(t)
	data := t.TempDir()
	p := startWith(t, []string{env, "WATCHDOG_USEC=400000"}, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
	before := until(t, lines, equals("READY=1"))
	assert.NotContains(t, before, "WATCHDOG=1", "it is fed from ready on")
	r, err := http.Get(p.url + "api/v1/state") // ready means that the page answers, at once
	require.NoError(t, err)
	r.Body.Close()
	assert.Equal(t, http.StatusOK, r.StatusCode)
	require.FileExists(t, filepath.Join(data, storeFile))

	until(t, lines, func(s string) bool {
		return strings.HasPrefix(s, "STATUS=Page at "+p.url) && strings.Contains(s, "indicator ")
	})
	for range 5 { // it goes on being fed, though nothing is being turned
		until(t, lines, equals("WATCHDOG=1"))
	}
	// A process that stands still feeds nothing, and one that goes on does.
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGSTOP))
	quiet := time.NewTimer(500 * time.Millisecond)
	for waiting := true; waiting; {
		select {
		case <-lines: // was under way
			quiet.Reset(500 * time.Millisecond)
		case <-quiet.C:
			waiting = false
		}
	}
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGCONT))
	until(t, lines, equals("WATCHDOG=1"))

	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	until(t, lines, equals("STOPPING=1"))
	require.NoError(t, <-p.ended)
	p.ended <- nil
	assert.Empty(t, p.stderr.String())
}

// With TLS and a key it is its own page that must answer.
func TestReadyOverTLSWithKey(t *testing.T) {
	t.Parallel()
	env, lines := serviceManager(t)
	p := startWith(t, []string{env}, "serve", "--lan", "--tls", "--addr", "127.0.0.1:0", "--data", t.TempDir())
	until(t, lines, equals("READY=1"))
	require.NoError(t, p.stop())
	rest := until(t, lines, equals("STOPPING=1"))
	assert.NotContains(t, rest, "WATCHDOG=1", "nobody asked for it")
}

// Nobody is told ready when the store cannot be opened.
func TestNotReadyWithoutStore(t *testing.T) {
	t.Parallel()
	env, lines := serviceManager(t)
	data := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(data, storeFile), []byte("this is no store, whatever its name says"), 0o600))
	name, err := builtBinary()
	require.NoError(t, err)
	cmd := exec.Command(name, "serve", "--addr", "127.0.0.1:0", "--data", data)
	cmd.Env = append(os.Environ(), env)
	require.Error(t, cmd.Run())
	assert.Equal(t, exitFailed, cmd.ProcessState.ExitCode())
	select {
	case line := <-lines:
		t.Errorf("it said %q", line)
	default: // a datagram to a local socket is there when its sender has ended
	}
}

// A socket that nobody reads from is no reason to fail.
func TestServiceManagerGone(t *testing.T) {
	t.Parallel()
	p := startWith(t, []string{"NOTIFY_SOCKET=" + filepath.Join(t.TempDir(), "gone"), "WATCHDOG_USEC=word"},
		"serve", "--addr", "127.0.0.1:0", "--data", t.TempDir())
	require.NoError(t, p.stop())
}

// The live side of a daemon hangs: from then on the watchdog starves, though the
// process, its page and its clock go on.
func TestWatchdogStarvesWhenLiveHangs(t *testing.T) {
	t.Parallel()
	var hang atomic.Bool
	let := make(chan struct{})
	live := capture.NewLive(capture.LiveOptions{Tell: func(capture.Message) {}, Clock: func() measure.Stamp {
		if hang.Load() {
			<-let
		}
		return device.Now()
	}})
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{}, 2)
	go func() { live.Run(ctx); done <- struct{}{} }()
	said := make(chan string, 1<<16)
	asked := make(chan error, 1<<16)
	n := serviceNotes{log: slog.New(slog.DiscardHandler), patience: 200 * time.Millisecond,
		send:  func(m string) (bool, error) { said <- m; return true, nil },
		ready: func(context.Context) error { return nil },
		says:  func() string { return "well" },
		answers: func(ctx context.Context) error {
			err := live.Answers(ctx)
			asked <- err
			return err
		}}
	go func() { n.run(ctx); done <- struct{}{} }()
	assert.Equal(t, "READY=1\nSTATUS=well", <-said)
	for range 3 {
		assert.Equal(t, "WATCHDOG=1", <-said)
	}
	hang.Store(true)
	for failures := 0; failures < 3; { // three times asked without an answer: hung
		err := <-asked
		if err != nil {
			require.ErrorIs(t, err, context.DeadlineExceeded)
			failures++
		}
	}
	for len(said) > 0 {
		<-said // from before it hung
	}
	for range 5 {
		require.Error(t, <-asked)
	}
	assert.Empty(t, said, "a hung live side feeds no watchdog")
	hang.Store(false)
	close(let)
	assert.Equal(t, "WATCHDOG=1", <-said, "it answers again")
	stop()
	<-done
	<-done
	var last []string
	for len(said) > 0 {
		last = append(last, <-said)
	}
	assert.True(t, slices.ContainsFunc(last, func(s string) bool { return strings.HasPrefix(s, "STOPPING=1") }))
	assert.Error(t, live.Answers(t.Context()), "a live side that has ended does not answer")
}

func TestNotStartedIsNotReady(t *testing.T) {
	t.Parallel()
	var said []string
	n := serviceNotes{send: func(m string) (bool, error) { said = append(said, m); return true, nil },
		ready: func(context.Context) error { return errors.New("ended before") }}
	n.run(t.Context())
	require.Len(t, said, 1)
	assert.True(t, strings.HasPrefix(said[0], "STOPPING=1"))
}

func TestStatusLine(t *testing.T) {
	t.Parallel()
	const url = "http://127.0.0.1:8417/"
	assert.Equal(t, "Page at "+url+"; no device chosen", statusLine(url, live.Hello{}))
	assert.Equal(t, "Page at "+url+"; indicator live; recording trace 7", statusLine(url, live.Hello{
		Devices: []live.Device{{ID: "indicator", State: "live"}}, Trace: &keep.State{ID: 7, State: keep.StateRecording}}))
	assert.Contains(t, statusLine(url, live.Hello{Trace: &keep.State{State: keep.StateBehind}}), "disk refuses")
}
