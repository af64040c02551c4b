package storage

import (
	"errors"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// A store closed in order and cut afterwards opens, or says why not, whatever
// is left of it: at every length around the edges of each page, with the mark of
// the orderly close beside it and the time of the file as it was.
func TestAStoreCutAfterAnOrderlyClose(t *testing.T) {
	path, _ := closed(t)
	image, err := os.ReadFile(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	mark, err := os.ReadFile(path + ".closed")
	require.NoError(t, err)
	lengths := []int{1, 15, 16, 79, 80, 20_000, 60_000}
	for at := 0; at < len(image) && at < 300_000; at += pageBytes {
		lengths = append(lengths, at+1, at+16, at+pageBytes-1, at+pageBytes)
	}
	for _, n := range lengths {
		if n >= len(image) {
			continue
		}
		path := t.TempDir() + "/s"
		require.NoError(t, os.WriteFile(path, image[:n], 0o600))
		require.NoError(t, os.Chtimes(path, info.ModTime(), info.ModTime()))
		require.NoError(t, os.WriteFile(path+".closed", mark, 0o600))
		s, err := Open(path, Options{ProveLater: true, ReadOnly: n%2 == 0, flushLate: true})
		if err != nil {
			require.True(t, errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotAStore), "cut at %d: %v", n, err)
			continue
		}
		require.NoError(t, s.Close())
	}
}
