package storage

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"lobescribe/capture/lift"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// turned is a hand-turned lobe: resolution 0.0005 in, an encoder of 2400
// counts, a given rate, stamps that jitter.
func turned(n int, perSecond float64, seed uint64) []measure.Reading {
	rng := rand.New(rand.NewPCG(seed, 1))
	out := make([]measure.Reading, n)
	angle, step := 0.0, 1e6/perSecond
	for i := range out {
		angle += (30 + 15*math.Sin(float64(i)/900) + 2*rng.NormFloat64()) / perSecond
		up := 0.0
		if a := math.Mod(angle, 720); a < 240 {
			up = 10.668 * math.Pow(math.Sin(a/240*math.Pi), 2)
		}
		at := float64(i)*step + min(330, step/5)*rng.NormFloat64()
		if i > 0 {
			at = max(at, float64(out[i-1].At)+1)
		}
		out[i] = measure.Reading{
			At:    measure.Stamp(max(at, 0)),
			Lift:  measure.Length(math.Round((up+0.003*rng.NormFloat64())/0.0127)) * 12_700,
			Angle: measure.Angle(math.Round(angle/0.15)) * 150_000,
			Has:   measure.HasLift | measure.HasAngle,
		}
	}
	return out
}

func newStore(t testing.TB, o Options) *Store {
	t.Helper()
	s, err := Open(filepath.Join(t.TempDir(), "deep", "er", "bench.lobes"), o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// record appends readings in batches and ends the trace.
func record(t testing.TB, s *Store, h Head, rs []measure.Reading, batch int) ID {
	t.Helper()
	w, err := s.Begin(h)
	require.NoError(t, err)
	for len(rs) > 0 {
		n := min(batch, len(rs))
		require.NoError(t, w.Append(rs[:n], nil))
		rs = rs[n:]
	}
	require.NoError(t, w.End())
	return w.ID()
}

// boltCheck lets bbolt prove its own structure: an opinion that does not come
// from our reader of its pages.
func boltCheck(t testing.TB, path string) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true, Timeout: time.Second, PreLoadFreelist: true})
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		var errs []error
		for err := range tx.Check() {
			errs = append(errs, err)
		}
		return errors.Join(errs...)
	}))
}

func TestATraceComesBackAsItWent(t *testing.T) {
	t.Parallel()
	s := newStore(t, Options{})
	rs := turned(40_000, 100, 1)
	notes := []measure.Note{
		{At: 5, Kind: measure.NoteMark},
		{At: 7, Until: 9, Kind: measure.NoteGap, Says: "cable out"},
	}
	started := time.Date(2026, 3, 1, 9, 30, 0, 123456789, time.FixedZone("", 3600))
	w, err := s.Begin(Head{
		Started: started, Engine: "v8", Valve: "3I", Trial: "t1", Source: "live", Remark: "first",
		Devices:    []DeviceNote{{Role: "indicator", Address: "serial:/dev/ttyUSB0", Format: "auto"}},
		Resolution: 12_700, AngleStep: 150_000,
	})
	require.NoError(t, err)
	rest, batch := rs, 0
	for len(rest) > 0 {
		batch++
		n := min(37*batch%997+1, len(rest))
		var now []measure.Note
		if batch <= len(notes) {
			now = notes[batch-1 : batch]
		}
		require.NoError(t, w.Append(rest[:n], now))
		rest = rest[n:]
		if batch == 20 { // in the middle it reads just as well
			_, got, err := s.Load(w.ID())
			require.NoError(t, err)
			require.Equal(t, rs[:len(rs)-len(rest)], got.Readings)
			list, err := s.Traces(Query{})
			require.NoError(t, err)
			require.Len(t, list, 1)
			assert.True(t, list[0].Recording)
			assert.EqualValues(t, len(rs)-len(rest), list[0].Readings)
		}
	}
	require.NoError(t, w.Amend(func(h *Head) { h.Remark = "amended" }))
	require.NoError(t, w.End())
	require.NoError(t, w.End(), "ending twice is harmless")
	require.ErrorIs(t, w.Append(rs[:1], nil), ErrEnded)

	check := func(s *Store) {
		h, got, err := s.Load(w.ID())
		require.NoError(t, err)
		assert.Equal(t, rs, got.Readings)
		assert.Equal(t, notes, got.Notes)
		assert.EqualValues(t, 12_700, got.Resolution)
		assert.EqualValues(t, 150_000, got.AngleStep)
		assert.True(t, h.Started.Equal(started))
		assert.Equal(t, "amended", h.Remark)
		assert.Equal(t, "serial:/dev/ttyUSB0", h.Devices[0].Address)
		assert.False(t, h.CutShort)
	}
	check(s)
	require.NoError(t, s.Close())
	boltCheck(t, s.Path())
	ro, err := Open(s.Path(), Options{ReadOnly: true})
	require.NoError(t, err)
	defer ro.Close()
	check(ro)
	_, err = ro.Begin(Head{})
	require.ErrorIs(t, err, ErrReadOnly)
}

func TestSummaryHasThePromisedKeys(t *testing.T) {
	s := newStore(t, Options{})
	id := record(t, s, Head{Engine: "v8", Valve: "3I"}, turned(100, 10, 1), 10)
	keys := func() map[string]any {
		sum, err := s.Summary(id)
		require.NoError(t, err)
		b, err := json.Marshal(sum)
		require.NoError(t, err)
		var m map[string]any
		require.NoError(t, json.Unmarshal(b, &m))
		return m
	}
	m := keys()
	for _, k := range []string{"id", "started", "engine", "valve", "readings", "seconds", "cut_short", "max_lift_mm"} {
		assert.Contains(t, m, k)
	}
	assert.Nil(t, m["max_lift_mm"], "not known before there are findings")
	assert.EqualValues(t, 100, m["readings"])
	assert.InDelta(t, 9.9, m["seconds"], 0.01)

	_, err := s.Findings(id)
	require.ErrorIs(t, err, ErrNotFound)
	f := lift.Findings{Openings: []lift.Opening{{MaxLift: 10_668_000}}, MaxLift: 10_668_000,
		Faults: []lift.Fault{{Kind: lift.Gap, Says: worksheet.Sayf("a")}, {Kind: lift.Gap, Says: worksheet.Sayf("100 %% and %v", measure.Inch)}, {Kind: lift.TooFast}}}
	require.NoError(t, s.PutFindings(id, f))
	got, err := s.Findings(id)
	require.NoError(t, err)
	assert.Equal(t, f, got)
	m = keys()
	assert.InDelta(t, 10.668, m["max_lift_mm"], 1e-12)
	assert.Equal(t, []any{"gap", "too-fast"}, m["faults"])
	require.ErrorIs(t, s.PutFindings(99, f), ErrNotFound)
}

func TestListing(t *testing.T) {
	s := newStore(t, Options{})
	for i := range 30 {
		record(t, s, Head{Engine: []string{"a", "ab", ""}[i%3], Valve: []string{"1I", "1E"}[i%2]}, turned(3, 10, 1), 3)
	}
	ids := func(q Query) (out []int) {
		list, err := s.Traces(q)
		require.NoError(t, err)
		for _, l := range list {
			out = append(out, int(l.ID))
		}
		return out
	}
	assert.Len(t, ids(Query{}), 30)
	assert.Equal(t, []int{30, 29, 28}, ids(Query{Limit: 3}))
	assert.Equal(t, []int{27, 26}, ids(Query{Limit: 2, Before: 28}))
	assert.Equal(t, []int{28, 25, 22}, ids(Query{Engine: "a", Limit: 3}))
	assert.Equal(t, []int{22, 19}, ids(Query{Engine: "a", Limit: 2, Before: 25}))
	assert.Equal(t, []int{25, 19, 13, 7, 1}, ids(Query{Engine: "a", Valve: "1I"}))
	assert.Equal(t, []int{29, 27, 25}, ids(Query{Valve: "1I", Limit: 3}))
	assert.Empty(t, ids(Query{Engine: "none"}))
	assert.Empty(t, ids(Query{Before: 1}))

	require.NoError(t, s.Relabel(25, "ab", "1E", "t9", "moved"))
	assert.Equal(t, []int{28, 22, 19}, ids(Query{Engine: "a", Limit: 3}))
	assert.Contains(t, ids(Query{Engine: "ab", Valve: "1E"}), 25)
	sum, err := s.Summary(25)
	require.NoError(t, err)
	assert.Equal(t, "moved", sum.Remark)
	require.ErrorIs(t, s.Relabel(99, "", "", "", ""), ErrNotFound)
	_, _, err = s.Load(99)
	require.ErrorIs(t, err, ErrNotFound)

	w, err := s.Begin(Head{Engine: "a"})
	require.NoError(t, err)
	require.NoError(t, s.Relabel(w.ID(), "b", "2I", "", ""))
	assert.Equal(t, "b", w.Head().Engine, "the trace in the making takes its new label along")
	assert.Equal(t, []int{31}, ids(Query{Engine: "b"}))
}

func TestLoadSpan(t *testing.T) {
	s := newStore(t, Options{})
	rs := turned(50_000, 1000, 2)
	w, err := s.Begin(Head{})
	require.NoError(t, err)
	require.NoError(t, w.Append(rs, []measure.Note{{At: 1, Until: 30_000_000, Kind: measure.NoteGap}, {At: 40_000_000, Kind: measure.NoteMark}}))
	require.NoError(t, w.End())
	rapid.Check(t, func(t *rapid.T) {
		from := measure.Stamp(rapid.Int64Range(-1e6, 51e6).Draw(t, "from"))
		until := from + measure.Stamp(rapid.Int64Range(-10, 60e6).Draw(t, "span"))
		var want []measure.Reading
		for _, r := range rs {
			if r.At >= from && r.At <= until {
				want = append(want, r)
			}
		}
		_, got, err := s.LoadSpan(w.ID(), from, until)
		require.NoError(t, err)
		require.Equal(t, want, got.Readings)
	})
	_, got, err := s.LoadSpan(w.ID(), 29e6, 31e6)
	require.NoError(t, err)
	assert.Len(t, got.Notes, 1, "a gap belongs to the span that it reaches into")
}

func TestAppendRefusesWhatItCannotKeep(t *testing.T) {
	s := newStore(t, Options{})
	w, err := s.Begin(Head{})
	require.NoError(t, err)
	require.NoError(t, w.Append([]measure.Reading{{At: -5, Has: measure.HasLift}, {At: 5, Has: measure.HasLift}, {At: 5, Has: measure.HasAngle}}, nil))
	err = w.Append([]measure.Reading{{At: 6}, {At: 4}}, nil)
	require.ErrorIs(t, err, ErrOrder)
	assert.Contains(t, err.Error(), "reading 4 is of 0.000004 s, the one before of 0.000006 s")
	require.ErrorIs(t, w.Append([]measure.Reading{{At: 4}}, nil), ErrOrder)
	require.ErrorContains(t, w.Append([]measure.Reading{{At: 9, Has: 8}}, nil), "cannot store")
	require.NoError(t, w.Append([]measure.Reading{{At: 5}}, nil), "nothing of the refused batches counts")
	assert.EqualValues(t, 4, w.Readings())
}

// Any way of cutting the readings into batches, failed ones between, also
// failures after which the transaction is on disk all the same, gives the
// same trace.
func TestBatchesAndFailuresDoNotShow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "lobescribe-test-*")
		require.NoError(t, err)
		defer os.RemoveAll(dir)
		refuse := false
		s, err := Open(filepath.Join(dir, "s"), Options{
			Fault:  func(Op) error { return map[bool]error{true: errors.New("disk full")}[refuse] },
			Opened: func(db *bbolt.DB) { db.NoSync = true },
		})
		require.NoError(t, err)
		defer s.Close()
		w, err := s.Begin(Head{})
		require.NoError(t, err)
		all := turned(rapid.IntRange(1, 45_000).Draw(t, "readings"), 1000, rapid.Uint64().Draw(t, "seed"))
		var notes []measure.Note
		for at := 0; at < len(all); {
			n := min(rapid.SampledFrom([]int{1, 7, 500, 9000, 16_384, 20_000, 40_000}).Draw(t, "batch"), len(all)-at)
			note := []measure.Note{{At: all[at].At, Kind: measure.NoteMark}}
			switch rapid.IntRange(0, 3).Draw(t, "fate") {
			case 0:
				refuse = true
				require.Error(t, w.Append(all[at:at+n], note))
				refuse = false
				continue
			case 1:
				// The disk took it and the caller was told that it did not.
				before := *state(w)
				require.NoError(t, w.Append(all[at:at+n], note))
				before.restore(w)
				continue
			}
			require.NoError(t, w.Append(all[at:at+n], note))
			notes = append(notes, note...)
			at += n
		}
		_, got, err := s.Load(w.ID())
		require.NoError(t, err)
		require.Equal(t, all, got.Readings)
		require.NoError(t, w.End())
		_, got, err = s.Load(w.ID())
		require.NoError(t, err)
		require.Equal(t, all, got.Readings)
		require.Equal(t, notes, got.Notes)
		sum, err := s.Summary(w.ID())
		require.NoError(t, err)
		require.EqualValues(t, len(all), sum.Readings)
	})
}

// writerState is what a Writer remembers of an Append.
type writerState struct {
	next, notes uint64
	last        measure.Stamp
	tail        []measure.Reading
	tailChunks  int
}

func state(w *Writer) *writerState {
	return &writerState{w.next, w.notes, w.last, w.tail, w.tailChunks}
}

// restore leaves the writer as a failed Append leaves it.
func (s *writerState) restore(w *Writer) {
	w.next, w.notes, w.last, w.tail, w.tailChunks, w.doubt = s.next, s.notes, s.last, s.tail, s.tailChunks, true
}

func TestSecondOpenerIsTold(t *testing.T) {
	s := newStore(t, Options{})
	for _, readOnly := range []bool{false, true} {
		_, err := Open(s.Path(), Options{Timeout: time.Millisecond, ReadOnly: readOnly})
		require.ErrorIs(t, err, ErrInUse)
		assert.Contains(t, err.Error(), "is in use by another lobescribe")
		if runtime.GOOS == "linux" {
			assert.Contains(t, err.Error(), fmt.Sprintf("(process %d)", os.Getpid()))
		}
	}
	require.NoError(t, s.Close())
	again, err := Open(s.Path(), Options{})
	require.NoError(t, err)
	require.NoError(t, again.Close())
	_, err = again.Traces(Query{})
	require.ErrorIs(t, err, ErrClosed)
	require.NoError(t, again.Close(), "closing twice is harmless")
}

func TestWhatIsNoStore(t *testing.T) {
	dir := t.TempDir()
	put := func(name string, b []byte) string {
		p := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(p, b, 0o600))
		return p
	}
	_, err := Open(filepath.Join(dir, "missing"), Options{ReadOnly: true})
	require.ErrorIs(t, err, ErrNoStore)
	assert.NoFileExists(t, filepath.Join(dir, "missing"))
	_, err = Open(dir, Options{})
	require.ErrorIs(t, err, ErrNotAStore)

	text := []byte(strings.Repeat("t_s,lift_mm\n", 3000))
	csv := put("trace.csv", text)
	_, err = Open(csv, Options{})
	require.ErrorIs(t, err, ErrNotAStore)
	after, err := os.ReadFile(csv)
	require.NoError(t, err)
	assert.Equal(t, text, after, "nothing was done to the file")

	other := filepath.Join(dir, "other.db")
	db, err := bbolt.Open(other, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("things")); return err }))
	require.NoError(t, db.Close())
	_, err = Open(other, Options{})
	require.ErrorIs(t, err, ErrNotAStore)

	s, err := Open(put("empty", nil), Options{})
	require.NoError(t, err, "an empty file becomes a store")
	require.NoError(t, s.Close())
}
