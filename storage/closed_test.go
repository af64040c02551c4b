package storage

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage/pages"
)

// closed makes a store of a hundred traces, closed in order, and returns where
// in the file the head of the last one stands.
func closed(t *testing.T) (path string, at int64) {
	path = filepath.Join(t.TempDir(), "s")
	s, err := Open(path, Options{flushLate: true})
	require.NoError(t, err)
	for range 100 {
		record(t, s, Head{Engine: "v8", Valve: "1I"}, turned(10, 10, 1), 10)
	}
	require.NoError(t, s.Close())
	s, err = Open(path, Options{ProveLater: true})
	require.NoError(t, err)
	assert.False(t, s.unproved, "there was no mark: it was proved first")
	require.NoError(t, s.Close())
	_, pf := pagesOf(t, path)
	pf.Walk(pf.Metas()[0], func(it pages.Item) bool {
		if it.Bucket == bucketHeads && it.Key != nil {
			at = it.Offset
		}
		return true
	})
	require.Positive(t, at)
	return path, at
}

// spoil makes the page around at one of another number.
func spoil(t *testing.T, path string, at int64) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte{0xff, 0xff}, at/pageBytes*pageBytes)
	require.NoError(t, err)
	require.NoError(t, f.Close())
}

func TestAStoreClosedInOrderOpensAtOnceAndIsProvedLater(t *testing.T) {
	path, _ := closed(t)
	s, err := Open(path, Options{ProveLater: true})
	require.NoError(t, err)
	assert.True(t, s.unproved)
	record(t, s, Head{}, turned(10, 10, 1), 10) // other pages than when it was closed
	require.NoError(t, s.Prove(t.Context()))
	assert.False(t, s.unproved)
	require.NoError(t, s.Close())

	s, err = Open(path, Options{ProveLater: true})
	require.NoError(t, err)
	assert.True(t, s.unproved)
	stopped, stop := context.WithCancel(t.Context())
	stop()
	require.ErrorIs(t, s.Prove(stopped), context.Canceled)
	record(t, s, Head{}, turned(10, 10, 1), 10)
	require.NoError(t, s.Close())
	s, err = Open(path, Options{ProveLater: true})
	require.NoError(t, err)
	assert.False(t, s.unproved, "nobody proved what was closed, so that it was proved first")
	require.NoError(t, s.Close())
}

// A file that something else has written to is proved before it is used.
func TestAFileThatWasChangedSinceIsProvedFirst(t *testing.T) {
	path, at := closed(t)
	spoil(t, path, at)
	_, err := Open(path, Options{ProveLater: true})
	require.ErrorIs(t, err, ErrDamaged)
}

// A disk that forgets does not tell: the time of the last write stays.
func TestWhatADiskForgotIsFoundSoonAfter(t *testing.T) {
	path, at := closed(t)
	info, err := os.Stat(path)
	require.NoError(t, err)
	spoil(t, path, at)
	require.NoError(t, os.Chtimes(path, time.Now(), info.ModTime()))
	s, err := Open(path, Options{ProveLater: true})
	require.NoError(t, err)
	require.ErrorIs(t, s.Prove(t.Context()), ErrDamaged)
	_, err = s.Begin(Head{})
	require.ErrorIs(t, err, ErrDamaged, "it takes nothing more")
	require.NoError(t, s.Close())
	_, err = Open(path, Options{ProveLater: true})
	require.ErrorIs(t, err, ErrDamaged, "and says so on opening")
	s, err = Open(path, Options{ProveLater: true, Repair: true})
	require.NoError(t, err)
	all, err := s.Traces(Query{})
	require.NoError(t, err)
	assert.Len(t, all, 100)
	require.NoError(t, s.Close())
}

// The list of free pages is believed by every write: a wrong one is found
// before the first.
func TestAForgottenListOfFreePagesIsFoundFirst(t *testing.T) {
	path, _ := closed(t)
	info, err := os.Stat(path)
	require.NoError(t, err)
	f, err := os.Open(path)
	require.NoError(t, err)
	pf, err := pages.Open(f, info.Size())
	require.NoError(t, err)
	at := int64(pf.Metas()[0].Freelist) * pageBytes
	require.NoError(t, f.Close())
	f, err = os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	var first [1]byte
	_, err = f.ReadAt(first[:], at+16)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte{first[0] ^ 1}, at+16)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	require.NoError(t, os.Chtimes(path, time.Now(), info.ModTime()))
	s, err := Open(path, Options{ProveLater: true})
	if err == nil {
		assert.False(t, s.unproved, "it was proved first")
		require.NoError(t, s.Close())
		return // the list was empty, and what follows it does no harm
	}
	require.ErrorIs(t, err, ErrDamaged)
}

// A link in the place of the mark is replaced, and what it leads to stays as it is.
func TestTheMarkFollowsNoLink(t *testing.T) {
	dir := t.TempDir()
	path, other := filepath.Join(dir, "s"), filepath.Join(dir, "other")
	require.NoError(t, os.WriteFile(other, []byte("somebody else's"), 0o600))
	if err := os.Symlink(other, markName(path)); err != nil {
		t.Skip("this system makes no links: ", err)
	}
	s, err := Open(path, Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	text, err := os.ReadFile(other)
	require.NoError(t, err)
	assert.Equal(t, "somebody else's", string(text))
	require.NotNil(t, readMark(path))
}

// pagesOf opens the file of a store that is closed, to look at its pages or to hurt them.
func pagesOf(t *testing.T, path string) (*os.File, *pages.File) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	info, err := f.Stat()
	require.NoError(t, err)
	pf, err := pages.Open(f, info.Size())
	require.NoError(t, err)
	return f, pf
}
