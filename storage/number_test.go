package storage

import (
	"encoding/binary"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/storage/pages"
)

// Nothing proves the number that a bucket counts by. With a bit of it flipped the
// next trace must not be given a number that another has, whose readings it would
// write over.
func TestANumberIsNotGivenTwice(t *testing.T) {
	t.Parallel()
	for _, next := range []string{"Begin", "TakeIn"} {
		t.Run(next, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(inMemory(t), "s")
			s, err := Open(path, Options{})
			require.NoError(t, err)
			defer s.Close()
			acked := map[ID][]measure.Reading{}
			for i := range 3 {
				rs := turned(500, 100, uint64(i))
				acked[record(t, s, Head{Engine: "v8"}, rs, 100)] = rs
			}
			require.Contains(t, acked, ID(3))
			hurtSequence(t, path, bucketHeads, 2) // 3 becomes 1
			rs := turned(700, 100, 9)
			switch next {
			case "Begin":
				id := record(t, s, Head{Engine: "v8"}, rs, 100)
				assert.EqualValues(t, 4, id)
				acked[id] = rs
			case "TakeIn":
				r, err := OpenRescue(path, Options{})
				require.NoError(t, err)
				record(t, r, Head{}, rs, 100)
				require.NoError(t, r.Close())
				ids, err := s.TakeIn(t.Context())
				require.NoError(t, err)
				require.Equal(t, []ID{4}, ids)
				acked[4] = rs
			}
			require.Zero(t, accounted(t, s, acked, next))
			rep, err := s.Verify(t.Context())
			require.NoError(t, err)
			assert.True(t, rep.Whole(), "%v", rep)
			assert.EqualValues(t, 5, record(t, s, Head{}, rs, 100))
		})
	}
}

// hurtSequence flips bits of the number that a bucket counts by, where the newest
// head has it.
func hurtSequence(t *testing.T, path, bucket string, flip byte) {
	t.Helper()
	f, pf := pagesOf(t, path)
	var was uint64
	pf.Walk(pf.Metas()[0], func(it pages.Item) bool {
		if it.Key == nil && it.Bucket == bucket {
			was = it.Sequence
		}
		return true
	})
	page := make([]byte, pageBytes)
	at := int64(pf.Metas()[0].Root) * pageBytes
	_, err := f.ReadAt(page, at)
	require.NoError(t, err)
	// The bucket's name is followed by its root page and the number.
	for i := 0; ; i++ {
		require.Less(t, i, pageBytes-len(bucket)-16)
		if string(page[i:i+len(bucket)]) == bucket && binary.NativeEndian.Uint64(page[i+len(bucket)+8:]) == was {
			_, err = f.WriteAt([]byte{byte(was) ^ flip}, at+int64(i+len(bucket)+8))
			require.NoError(t, err)
			return
		}
	}
}
