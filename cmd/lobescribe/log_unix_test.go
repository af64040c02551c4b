//go:build unix

package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The journal puts the time to each line by itself: systemd.exec(5) says how a
// process knows that its stderr goes there, by the device and inode number in
// JOURNAL_STREAM.
func TestNoTimeInTheJournal(t *testing.T) {
	self, err := os.Executable()
	require.NoError(t, err)
	for _, journal := range []bool{true, false} {
		stderr, err := os.Create(filepath.Join(t.TempDir(), "stderr"))
		require.NoError(t, err)
		defer stderr.Close()
		info, err := stderr.Stat()
		require.NoError(t, err)
		at := info.Sys().(*syscall.Stat_t)
		inode := at.Ino
		if !journal {
			inode++ // it goes elsewhere
		}
		cmd := exec.Command(self, "-test.run", "^TestLogsALine$")
		cmd.Env = append(os.Environ(), "LOBESCRIBE_TEST_LOGS=1", fmt.Sprintf("JOURNAL_STREAM=%d:%d", at.Dev, inode))
		cmd.Stderr = stderr
		require.NoError(t, cmd.Run())
		_, err = stderr.Seek(0, io.SeekStart)
		require.NoError(t, err)
		text, err := io.ReadAll(stderr)
		require.NoError(t, err)
		if journal {
			assert.Equal(t, "level=WARN msg=slow port=x\n", string(text))
		} else {
			assert.Regexp(t, `^time=\S+ level=WARN msg=slow port=x\n$`, string(text))
		}
	}
}

// TestLogsALine is the process that the test above looks at.
func TestLogsALine(t *testing.T) {
	if os.Getenv("LOBESCRIBE_TEST_LOGS") == "" {
		return
	}
	logger(typed(t, "traces")).Warn("slow", "port", "x")
}
