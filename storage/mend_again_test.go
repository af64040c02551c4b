package storage

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/storage/pages"
)

// onMessage runs do when a message is logged for the first time.
type onMessage struct {
	message string
	do      func()
}

func (*onMessage) Enabled(context.Context, slog.Level) bool { return true }

func (o *onMessage) Handle(_ context.Context, r slog.Record) error {
	if do := o.do; r.Message == o.message && do != nil {
		o.do = nil
		do()
	}
	return nil
}

func (o *onMessage) WithAttrs([]slog.Attr) slog.Handler { return o }

func (o *onMessage) WithGroup(string) slog.Handler { return o }

// A store that was just repaired is hurt once more, so that it cannot be opened,
// and the page with the record of the repair is the one: what is gone is told all
// the same, when it is mended again and when the program stops instead.
func TestHurtAgainWhileItIsMended(t *testing.T) {
	t.Parallel()
	for _, then := range []string{"mended", "closed"} {
		t.Run(then, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(inMemory(t), "s")
			on := &onMessage{message: "store repaired"}
			s, err := Open(path, Options{Log: slog.New(on)})
			require.NoError(t, err)
			acked := map[ID][]measure.Reading{}
			for i := range 2 {
				rs := turned(500, 100, uint64(i))
				acked[record(t, s, Head{Engine: "v8"}, rs, 100)] = rs
			}
			require.NoError(t, s.recount())
			w, err := s.Begin(Head{Engine: "v8"})
			require.NoError(t, err)
			rs := turned(3000, 100, 5)
			require.NoError(t, w.Append(rs, nil))
			acked[w.ID()] = rs
			hurtChunk(t, path, w.ID(), 0)
			hurtChunk(t, path, 2, 0)
			on.do = func() {
				image, err := os.ReadFile(path)
				require.NoError(t, err)
				f, err := os.OpenFile(path, os.O_RDWR, 0)
				require.NoError(t, err)
				defer f.Close()
				pf, err := pages.Open(f, int64(len(image)))
				require.NoError(t, err)
				at := int64(pf.Metas()[0].Root) * pageBytes
				_, err = f.WriteAt(make([]byte, pageBytes), at) // a sector that reads as nothing
				require.NoError(t, err)
			}
			s.scrub(t.Context(), nil)
			_, err = s.Mend(t.Context())
			require.ErrorIs(t, err, ErrLost)
			if then == "mended" {
				_, err = s.Mend(t.Context())
				require.NoError(t, err)
				require.NoError(t, w.End())
			}
			require.NoError(t, s.Close())
			s, err = Open(path, Options{Repair: true, ProveLater: true})
			require.NoError(t, err)
			defer s.Close()
			accounted(t, s, acked, then)
		})
	}
}
