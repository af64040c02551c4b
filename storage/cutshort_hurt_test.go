package storage

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// A trace in the making of which a chunk is hurt when the program stops: the
// next start, which cuts it short, tells of what was acknowledged and does not
// read, however the store was let go of.
func TestCutShortWithAHurtChunk(t *testing.T) {
	t.Parallel()
	for _, letGo := range []string{"in order", "hurt", "killed"} {
		for _, at := range []int{0, 1, 3} { // of four chunks
			t.Run(fmt.Sprintf("%s, chunk %d", letGo, at), func(t *testing.T) {
				t.Parallel()
				path := filepath.Join(inMemory(t), "s")
				s, err := Open(path, Options{})
				require.NoError(t, err)
				acked := map[ID][]measure.Reading{}
				whole := turned(500, 100, 4)
				acked[record(t, s, Head{Engine: "v8"}, whole, 100)] = whole
				w, err := s.Begin(Head{Engine: "v8"})
				require.NoError(t, err)
				rs := turned(3400, 100, 5)
				for n := 0; n < len(rs); n += 850 {
					require.NoError(t, w.Append(rs[n:n+850], nil))
				}
				acked[w.ID()] = rs
				hurtChunk(t, path, w.ID(), uint64(850*at))
				if letGo == "hurt" {
					s.scrub(t.Context(), nil)
					require.ErrorIs(t, s.sound(), ErrDamaged)
				}
				require.NoError(t, s.Close())
				if letGo == "killed" {
					require.NoError(t, os.Remove(markName(path)))
				}

				s, err = Open(path, Options{Repair: true, ProveLater: true})
				require.NoError(t, err)
				defer s.Close()
				ctx, stop := context.WithCancel(t.Context())
				done := make(chan struct{})
				go func() { defer close(done); s.Tend(ctx, Tending{}) }()
				require.NoError(t, s.Proved(t.Context()))
				stop()
				<-done
				accounted(t, s, acked, letGo)
				repairs, err := s.Repairs(true)
				require.NoError(t, err)
				require.Len(t, repairs, 1)
				require.Len(t, repairs[0].Losses, 1)
				assert.Equal(t, w.ID(), repairs[0].Losses[0].Trace)
				if letGo != "killed" || at < 3 { // else nothing is left that tells
					assert.EqualValues(t, 850, repairs[0].Losses[0].Lost)
				}
				_, got, _ := s.Load(w.ID())
				assert.Len(t, got.Readings, 3400-850, "the other chunks are there")
			})
		}
	}
}

// hurtChunk flips a bit of a chunk, and no time of the file tells.
func hurtChunk(t *testing.T, path string, id ID, first uint64) {
	t.Helper()
	info, err := os.Stat(path)
	require.NoError(t, err)
	image, err := os.ReadFile(path)
	require.NoError(t, err)
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	hurt := 0
	for at := 0; ; at++ {
		i := bytes.Index(image[at:], []byte(chunk.Magic))
		if i < 0 {
			break
		}
		at += i
		h, err := chunk.Peek(chunk.Cut(image[at:]))
		if err != nil || ID(h.Trace) != id || h.First != first {
			continue
		}
		// In its middle; older writings of it lie about as well.
		middle := at + len(chunk.Cut(image[at:]))/2
		_, err = f.WriteAt([]byte{image[middle] ^ 4}, int64(middle))
		require.NoError(t, err)
		hurt++
	}
	require.Positive(t, hurt)
	require.NoError(t, os.Chtimes(path, info.ModTime(), info.ModTime()))
}
