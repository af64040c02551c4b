package main

import (
	"encoding/json"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/windows"

	"lobescribe/storage"
)

// Ctrl-Break reaches the program by the same way as Ctrl-C, which cannot be sent
// to a process group of its own (GenerateConsoleCtrlEvent, Microsoft's
// documentation): the daemon ends with status 0 and its trace is whole. The
// close button comes as SIGTERM (os/signal, "Windows"), to the same context.
func TestStopsAtCtrlBreak(t *testing.T) {
	name, err := builtBinary()
	require.NoError(t, err)
	data := t.TempDir()
	p := &process{t: t, ended: make(chan error, 1)}
	p.cmd = exec.Command(name, "demo", "--empty", "--addr", "127.0.0.1:0", "--data", data, "--speed", "4")
	p.cmd.SysProcAttr = &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
	p.begin()
	require.Eventually(t, func() bool {
		var s struct {
			Trace *storage.Summary `json:"trace"`
		}
		p.get("/api/v1/state", &s)
		return s.Trace != nil && s.Trace.Readings > 0
	}, 60*time.Second, 50*time.Millisecond, "it records")
	asked := time.Now()
	require.NoError(t, windows.GenerateConsoleCtrlEvent(windows.CTRL_BREAK_EVENT, uint32(p.cmd.Process.Pid)))
	select {
	case err := <-p.ended:
		p.ended <- err
		require.NoError(t, err, "%s", strings.TrimSpace(p.stderr.String()))
	case <-time.After(30 * time.Second):
		t.Fatal("it does not end")
	}
	t.Logf("ended after %.2f s", time.Since(asked).Seconds())
	text, err := exec.Command(name, "traces", "--json", "--data", data).Output()
	require.NoError(t, err)
	var list []storage.Summary
	require.NoError(t, json.Unmarshal(text, &list))
	require.NotEmpty(t, list)
	assert.False(t, list[0].CutShort)
}
