package storage

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/storage/pages"
)

// A small bucket stands inside its parent's page, and the database copies it into
// the program's memory. An entry that says that it is longer than it is must not
// show what lies behind the copy: beside that it is nobody's business, the program
// ends when its memory is tidied up with a row at hand that is made of it.
func TestAnEntryThatIsLongerThanItsBucket(t *testing.T) {
	t.Parallel()
	path := filepath.Join(inMemory(t), "s")
	s, err := Open(path, Options{})
	require.NoError(t, err)
	defer s.Close()
	_, err = s.PutBench(Bench{Engine: "v8"})
	require.NoError(t, err)
	var key []byte
	var at int64
	f, pf := pagesOf(t, path)
	pf.Walk(pf.Metas()[0], func(it pages.Item) bool {
		if it.Bucket == bucketDocs && it.Key != nil {
			key, at = it.Key, it.Offset
		}
		return true
	})
	require.Positive(t, at)
	// The only entry of the bucket stands before its key, and its value's length last.
	var b [1]byte
	length := at - int64(len(key)) - 4
	_, err = f.ReadAt(b[:], length+1)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte{b[0] ^ 0x10}, length+1)
	require.NoError(t, err)

	err = s.view(func(r rows) error {
		assert.Less(t, len(r.get(bucketDocs, key)), 4096, "what lies behind the bucket shows")
		return nil
	})
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorIs(t, s.update(OpDocument, func(*bbolt.Tx) error { return nil }), ErrDamaged)
	done, err := s.Mend(t.Context())
	require.NoError(t, err)
	require.NotNil(t, done)
	_, err = s.PutBench(Bench{Engine: "v8"})
	require.NoError(t, err)
}
