//go:build unix

package main

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// Beside a daemon that asks for a key, and shows a certificate that nobody vouches
// for, the commands that look into its store work all the same.
func TestBesideALockedDaemon(t *testing.T) {
	t.Parallel()
	for _, flags := range [][]string{{"--lan"}, {"--tls"}, {"--lan", "--tls"}} {
		data := t.TempDir()
		store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{})
		require.NoError(t, err)
		_, err = store.PutEngine(storage.Engine{ID: "stand", Cylinders: 1, ValvesPerCylinder: 2})
		require.NoError(t, err)
		require.NoError(t, store.Close())
		p := start(t, append([]string{"serve", "--addr", "127.0.0.1:0", "--data", data}, flags...)...)
		var list []any
		require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", data), &list))
		assert.Empty(t, list)
		assert.Contains(t, string(runBinary(t, "engines", "--data", data)), "stand")
		assert.Contains(t, string(runBinary(t, "sheet", "stand", "--data", data)), "<html")
		copied := filepath.Join(t.TempDir(), "copy.db")
		runBinary(t, "backup", copied, "--data", data)
		runBinary(t, "verify", copied)
		require.NoError(t, p.stop(), "%v", flags)
	}
}
