package storage

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A store that is let go of with a trace in the making, hurt or in order, and
// whose file is cut afterwards: the next start tells of what was acknowledged of
// that trace too.
func TestTheMarkTellsOfTracesInTheMaking(t *testing.T) {
	for _, hurt := range []bool{false, true} {
		for _, cut := range []int64{1854, 4096 * 3, 4096 * 4} {
			t.Run(fmt.Sprintf("hurt %v, cut to %d", hurt, cut), func(t *testing.T) {
				path := filepath.Join(inMemory(t), "s")
				s, err := Open(path, Options{})
				require.NoError(t, err)
				record(t, s, Head{}, turned(100, 10, 1), 100)
				w, err := s.Begin(Head{})
				require.NoError(t, err)
				require.NoError(t, w.Append(turned(250, 10, 1), nil))
				if hurt {
					s.fail(ErrDamaged)
				}
				require.NoError(t, s.Close())
				require.NoError(t, os.Truncate(path, cut))

				s, err = Open(path, Options{Repair: true})
				require.NoError(t, err)
				defer s.Close()
				all, err := s.Repairs(true)
				require.NoError(t, err)
				require.Len(t, all, 1)
				assert.EqualValues(t, 2, all[0].Was.Traces)
				assert.EqualValues(t, 350, all[0].Was.Readings)
				_, is, _ := s.Load(w.ID())
				var told int64
				for _, l := range all[0].Losses {
					if l.Trace == w.ID() {
						assert.EqualValues(t, 250, l.Of)
						told = l.Lost
					}
				}
				assert.EqualValues(t, 250-len(is.Readings), told, "%+v", all[0])
			})
		}
	}
}
