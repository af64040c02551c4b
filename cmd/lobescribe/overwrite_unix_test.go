//go:build unix

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is written somewhere is never written over a store: not over the one in use,
// by whatever name, and not over a backup by what is none.
func TestNothingIsWrittenOverAStore(t *testing.T) {
	t.Parallel()
	data, elsewhere := t.TempDir(), t.TempDir()
	csv := filepath.Join(elsewhere, "one.csv")
	require.NoError(t, os.WriteFile(csv, []byte("t_s,lift_mm\n0,0\n1,1\n"), 0o600))
	runBinary(t, "import", csv, "--data", data)
	place := filepath.Join(data, storeFile)
	hard, soft, backup := filepath.Join(data, "hard"), filepath.Join(elsewhere, "soft"), filepath.Join(elsewhere, "backup.db")
	require.NoError(t, os.Link(place, hard))
	require.NoError(t, os.Symlink(place, soft))
	runBinary(t, "backup", backup, "--data", data)
	refused := func(name string, words ...string) {
		t.Helper()
		before, err := os.ReadFile(name)
		require.NoError(t, err)
		var out, complaint bytes.Buffer
		code := run(t.Context(), append(words, "--data", data), strings.NewReader(""), &out, &complaint)
		assert.NotZero(t, code, "%v", words)
		assert.Regexp(t, "is a store, or a backup|is the store itself", complaint.String(), "%v", words)
		after, err := os.ReadFile(name)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(before, after), "%v", words)
	}
	for _, name := range []string{place, hard, soft, backup} {
		refused(name, "export", "1", "-o", name, "--format", "csv")
		refused(name, "listen", "tcp://127.0.0.1:1", "-n", "1", "--raw", name)
	}
	p := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data)
	for _, name := range []string{place, hard, soft} {
		refused(name, "backup", name, "--overwrite")
	}
	runBinary(t, "backup", backup, "--overwrite", "--data", data)
	require.NoError(t, p.stop())
	for _, name := range []string{place, hard, soft} {
		refused(name, "backup", name, "--overwrite")
		refused(name, "restore", name, "--overwrite")
	}
	for range 3 { // in one second, as a rule: each keeps what was there
		runBinary(t, "restore", backup, "--overwrite", "--data", data)
	}
	kept, err := filepath.Glob(place + ".before-*")
	require.NoError(t, err)
	assert.Len(t, kept, 3)
}
