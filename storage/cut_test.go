package storage

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// A store closed in order and cut afterwards opens, or says why not, whatever
// is left of it: at every length around the edges of each page, with the mark of
// the orderly close beside it and the time of the file as it was.
func TestAStoreCutAfterAnOrderlyClose(t *testing.T) {
	t.Parallel()
	image, traces := fewTraces(t)
	mark := marked(t, image, traces)
	lengths := []int{0, 1, 15, 16, 79, 80, 20_000, 60_000}
	for at := 0; at < len(image) && at < 150_000; at += pageBytes {
		lengths = append(lengths, at+1, at+pageBytes)
	}
	for _, n := range lengths {
		if n >= len(image) {
			continue
		}
		path := filepath.Join(inMemory(t), "s")
		require.NoError(t, os.WriteFile(path, image[:n], 0o600))
		require.NoError(t, os.Chtimes(path, mark.at, mark.at))
		require.NoError(t, os.WriteFile(path+".closed", mark.text, 0o600))
		s, err := Open(path, Options{ProveLater: true, Repair: true, flushLate: true})
		if n == 0 {
			require.ErrorIs(t, err, ErrEmptied)
			require.Regexp(t, "is empty now, and held 20 traces with .* readings when it was closed on .*: put a backup of it in its place, or take s.closed away", err)
			continue
		}
		if err != nil {
			require.ErrorIs(t, err, ErrNotAStore, "cut to %d", n)
			continue
		}
		repairs, err := s.Repairs(true)
		require.NoError(t, err)
		require.LessOrEqual(t, len(repairs), 1)
		if len(repairs) == 1 {
			done := repairs[0]
			require.EqualValues(t, 20, done.Was.Traces, "the mark knows, cut to %d", n)
			require.EqualValues(t, 11_500, done.Was.Readings)
			left, err := os.ReadFile(filepath.Join(filepath.Dir(path), done.Kept))
			require.NoError(t, err)
			require.Equal(t, image[:n], left)
			lost := accounted(t, s, traces, fmt.Sprintf("cut to %d", n))
			require.EqualValues(t, done.Was.Readings-done.Left.Readings, lost, done.Says())
		}
		accounted(t, s, traces, fmt.Sprintf("cut to %d", n))
		rep, err := s.Verify(t.Context())
		require.NoError(t, err)
		require.Len(t, rep.Repairs, len(repairs))
		if len(repairs) == 1 {
			require.Contains(t, rep.String(), repairs[0].Says())
		}
		require.NoError(t, s.Close())
	}
}

type leftBehind struct {
	text []byte
	at   time.Time
}

// marked closes a store with these bytes in order and returns the mark of it.
func marked(t testing.TB, image []byte, _ map[ID][]measure.Reading) leftBehind {
	path := filepath.Join(t.TempDir(), "s")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	s, err := Open(path, Options{})
	require.NoError(t, err)
	require.NoError(t, s.recount())
	require.NoError(t, s.Close())
	text, err := os.ReadFile(path + ".closed")
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	return leftBehind{text, info.ModTime()}
}

// Without a mark nobody knows how much there was, and that is said.
func TestACutStoreWithoutAMark(t *testing.T) {
	image, traces := fewTraces(t)
	path := filepath.Join(inMemory(t), "s")
	require.NoError(t, os.WriteFile(path, image[:20_000], 0o600))
	s, err := Open(path, Options{Repair: true, flushLate: true})
	require.NoError(t, err)
	defer s.Close()
	repairs, err := s.Repairs(true)
	require.NoError(t, err)
	require.Len(t, repairs, 1)
	require.False(t, repairs[0].Exact)
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	if len(list) < len(traces) {
		require.Regexp(t, "nothing tells|Lost: at least", repairs[0].Says())
	}
}
