package storage

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/disk"
)

// onWrite puts fn between the database and its file; see disk.Between.
func onWrite(t testing.TB, db *bbolt.DB, fn func(write disk.Write, b []byte, at int64) (int, error)) {
	require.NoError(t, disk.Between(db, fn))
}

// A write as the disk was asked for it. Between two flushes a disk may carry
// out writes in any order, whole, in part, or not at all.
type write struct {
	at   int64
	data []byte
	size int64 // of the file by then; growing is flushed before it is used
	meta bool  // bbolt flushes before and after it writes a head page
}

// sector is what a disk writes in one piece.
const sector = 512

// epochs cuts the log where the database flushes: pages, then the head page.
func epochs(log []write) (out [][2]int) {
	start := 0
	for i, w := range log {
		if w.meta {
			if i > start {
				out = append(out, [2]int{start, i})
			}
			out = append(out, [2]int{i, i + 1})
			start = i + 1
		}
	}
	return out
}

func apply(image []byte, w write, keep func(part int) bool, piece int) []byte {
	if int64(len(image)) < w.size {
		image = append(image, make([]byte, w.size-int64(len(image)))...)
	}
	for part := 0; part*piece < len(w.data); part++ {
		if keep(part) {
			lo := part * piece
			copy(image[w.at+int64(lo):], w.data[lo:min(lo+piece, len(w.data))])
		}
	}
	return image
}

func all(int) bool { return true }

// The power goes at every moment between two flushes, with the writes since
// the last one done in part, torn within sectors' bounds, or missing. From each
// such state the store opens and verifies, and holds everything acknowledged.
func TestPowerFailure(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "s")
	var base []byte
	var log []write
	hook := func(db *bbolt.DB) {
		var err error
		base, err = os.ReadFile(path)
		require.NoError(t, err)
		logWrites(t, db, path, &log)
	}
	s, err := Open(path, Options{Opened: hook})
	require.NoError(t, err)
	rs := turned(45_000, 1000, 1)
	earlier := turned(3000, 1000, 2)
	started := len(log)
	first := record(t, s, Head{Engine: "e"}, earlier, 1000)
	firstDone := len(log)
	w, err := s.Begin(Head{Engine: "e"})
	require.NoError(t, err)
	acked := map[int]int{} // length of the log -> readings acknowledged
	for at := 0; at < len(rs); at += 1000 {
		require.NoError(t, w.Append(rs[at:at+1000], nil))
		acked[len(log)] = at + 1000
	}
	require.NoError(t, w.End())
	require.NoError(t, s.Close())

	rng := rand.New(rand.NewPCG(3, 3))
	variants := long(t, 2, 20)
	states := 0
	durable := bytes.Clone(base)
	kept := 0
	for _, e := range epochs(log) {
		for v := range variants {
			image := bytes.Clone(durable)
			for _, wr := range log[e[0]:e[1]] {
				piece := sector
				if wr.meta {
					piece = 8 // finer than any disk: the head page has its own checksum
				}
				chance := []float64{0.5, 0.95, 0, 1}[v%4]
				image = apply(image, wr, func(int) bool { return rng.Float64() < chance }, piece)
			}
			states++
			checkPowerState(t, image, e[0] > started, e[0] >= firstDone, first, earlier, rs, kept)
		}
		for _, wr := range log[e[0]:e[1]] {
			durable = apply(durable, wr, all, sector)
		}
		if n, ok := acked[e[1]]; ok {
			kept = n
		}
	}
	require.Equal(t, len(rs), kept)
	checkPowerState(t, durable, true, true, first, earlier, rs, kept)
	now, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, now, durable, "the log misses no write")
	t.Logf("%d states opened", states)
}

// The same during an upgrade: whenever the power goes, the file is of the old
// schema or of the new one and never in between, and the upgrade can go on.
func TestPowerFailureDuringAnUpgrade(t *testing.T) {
	t.Parallel()
	steps := func() []migration {
		return []migration{{from: schema, does: "writes every head again", run: func(tx *bbolt.Tx) error {
			if _, err := tx.CreateBucket([]byte("new")); err != nil {
				return err // a half-done upgrade would stumble here
			}
			for _, id := range traceIDs(boltRows{tx}) {
				h, err := readHead(boltRows{tx}, id)
				if err != nil {
					return err
				}
				h.Remark = "upgraded"
				if err := errors.Join(rewriteHead(tx, id, h), new(Store).putSummary(tx, id)); err != nil {
					return err
				}
			}
			return nil
		}}}
	}
	path := filepath.Join(t.TempDir(), "s")
	s, err := Open(path, Options{flushLate: true})
	require.NoError(t, err)
	rs := turned(300, 100, 1)
	for range 60 {
		record(t, s, Head{Engine: "e", Remark: "old"}, rs, 300)
	}
	require.NoError(t, s.Close())

	base, log := recordWrites(t, path, Options{migrations: steps()})
	rng := rand.New(rand.NewPCG(4, 4))
	old, upgraded := 0, 0
	for v := range long(t, 12, 300) {
		durable := bytes.Clone(base)
		for _, e := range epochs(log) {
			image := bytes.Clone(durable)
			chance := []float64{0.5, 0.95, 0, 1}[v%4]
			for _, wr := range log[e[0]:e[1]] {
				image = apply(image, wr, func(int) bool { return rng.Float64() < chance }, map[bool]int{false: sector, true: 8}[wr.meta])
				durable = apply(durable, wr, all, sector)
			}
			torn := filepath.Join(t.TempDir(), "torn")
			require.NoError(t, os.WriteFile(torn, image, 0o600))
			s, err := Open(torn, Options{flushLate: true})
			want := "old"
			if errors.Is(err, ErrNewer) {
				upgraded++
				want = "upgraded"
			} else {
				require.NoError(t, err)
				old++
			}
			if want == "old" {
				remarks(t, s, "old")
			}
			s, err = Open(torn, Options{flushLate: true, migrations: steps()})
			require.NoError(t, err, "the upgrade goes on")
			remarks(t, s, "upgraded")
		}
	}
	assert.Positive(t, old)
	assert.Positive(t, upgraded)
	t.Logf("%d states of the old schema, %d of the new", old, upgraded)
}

// remarks checks every head and closes the store.
func remarks(t *testing.T, s *Store, want string) {
	t.Helper()
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	require.Len(t, list, 60)
	for _, l := range list {
		require.Equal(t, want, l.Remark)
	}
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.True(t, rep.Whole(), rep.String())
	require.NoError(t, s.Close())
}

// recordWrites opens and closes a store, and returns the file as it was and
// what was written to it.
func recordWrites(t *testing.T, path string, o Options) (base []byte, log []write) {
	t.Helper()
	base, err := os.ReadFile(path)
	require.NoError(t, err)
	o.Opened = func(db *bbolt.DB) { logWrites(t, db, path, &log) }
	s, err := Open(path, o)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return base, log
}

// logWrites notes what the database writes. It need not flush: where it would
// is known from the order of writes.
func logWrites(t testing.TB, db *bbolt.DB, path string, log *[]write) {
	db.NoSync = true
	onWrite(t, db, func(put disk.Write, b []byte, at int64) (int, error) {
		info, err := os.Stat(path)
		require.NoError(t, err)
		*log = append(*log, write{at, bytes.Clone(b), max(info.Size(), at+int64(len(b))), at < 2*pageBytes})
		return put(b, at)
	})
}

func checkPowerState(t *testing.T, image []byte, started, firstDone bool, first ID, earlier, rs []measure.Reading, kept int) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	defer os.Remove(path)
	s, err := Open(path, Options{Opened: func(db *bbolt.DB) { db.NoSync = true }})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.True(t, rep.Whole(), rep.String())
	if firstDone {
		_, got, err := s.Load(first)
		require.NoError(t, err)
		require.Equal(t, earlier, got.Readings)
	}
	if kept > 0 {
		_, got, err := s.Load(first + 1)
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(got.Readings), kept)
		require.Equal(t, rs[:len(got.Readings)], got.Readings)
	}
}
