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

// What the system says of a file reaches nobody in its own words.
func TestFilesThatAreNotThereInPlainWords(t *testing.T) {
	folder, data := t.TempDir(), t.TempDir()
	a := filepath.Join(data, "a.csv")
	require.NoError(t, os.WriteFile(a, []byte("t_s,lift_mm\n0,0\n"), 0o600))
	none := filepath.Join(folder, "none")
	for _, words := range [][]string{
		{"analyse", "PATH"},
		{"analyse", a, "--proof", "PATH"},
		{"calc", "timing", "--intake", "PATH"},
		{"calc", "timing", "--intake-lobe", "PATH"},
		{"formats", "--formats", "PATH"},
		{"traces", "--config", "PATH"},
		{"import", "PATH"},
		{"replay", "PATH"},
		{"restore", "PATH"},
		{"listen", "tcp://127.0.0.1:1", "-n", "1", "--raw", "PATH"},
		{"serve", "--addr", "127.0.0.1:0", "--page", "PATH"},
	} {
		for what, path := range map[string]string{"not there": none, "in a folder not there": filepath.Join(none, "x"), "a folder": folder, "in a file": filepath.Join(a, "x")} {
			if what == "not there" && words[0] == "listen" {
				continue // it is made
			}
			typed := append([]string{}, words...)
			for i, w := range typed {
				if w == "PATH" {
					typed[i] = path
				}
			}
			var out, complaint bytes.Buffer
			code := run(t.Context(), append(typed, "--data", data), strings.NewReader(""), &out, &complaint)
			says := complaint.String()
			assert.NotZero(t, code, "%v: %s", typed, what)
			assert.Equal(t, 1, strings.Count(says, "\n"), "%v: %s: %q", typed, what, says)
			for _, raw := range []string{"no such file or", "is a directory", "not a directory", "open ", "stat "} {
				assert.NotContains(t, says, raw, "%v: %s", typed, what)
			}
		}
	}
}
