package storage

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// The record of a repair is hurt itself: what it told is told by the next.
func TestTheRecordOfARepairIsHurt(t *testing.T) {
	t.Parallel()
	for _, inMaking := range []bool{false, true} {
		path := filepath.Join(inMemory(t), "s")
		s, err := Open(path, Options{})
		require.NoError(t, err)
		defer s.Close()
		acked := map[ID][]measure.Reading{}
		for i := range 3 {
			rs := turned(500, 100, uint64(i))
			acked[record(t, s, Head{Engine: "v8"}, rs, 100)] = rs
		}
		require.NoError(t, s.recount())
		mended := func() *Repaired {
			s.scrub(t.Context(), nil)
			done, err := s.Mend(t.Context())
			require.NoError(t, err)
			require.NotNil(t, done)
			return done
		}
		hurtChunk(t, path, 2, 0)
		if inMaking {
			w, err := s.Begin(Head{Engine: "v8"})
			require.NoError(t, err)
			rs := turned(20_000, 1000, 7)
			require.NoError(t, w.Append(rs, nil)) // more than is remembered
			acked[w.ID()] = rs
			hurtChunk(t, path, w.ID(), 0)
			defer func() {
				require.NoError(t, w.End())
				accounted(t, s, acked, "ended")
			}()
		}
		first := mended()
		require.NotEmpty(t, first.Losses)
		accounted(t, s, acked, "the first repair")

		// Each writing of it, also those that lie loose.
		image, err := os.ReadFile(path)
		require.NoError(t, err)
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		require.NoError(t, err)
		defer f.Close()
		hurt := 0
		for at := 0; ; at++ {
			i := bytes.Index(image[at:], []byte(`"kept":"`))
			if i < 0 {
				break
			}
			at += i
			_, err = f.WriteAt([]byte{image[at+1] ^ 4}, int64(at+1))
			require.NoError(t, err)
			hurt++
		}
		require.Positive(t, hurt)

		second := mended()
		assert.False(t, second.Exact, "what the first told is not known for certain")
		accounted(t, s, acked, "the second repair")
		require.Len(t, second.Losses, len(first.Losses), "%+v", second)
		for i := range first.Losses {
			assert.Equal(t, first.Losses[i], second.Losses[i])
		}
	}
}
