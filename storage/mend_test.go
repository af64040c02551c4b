package storage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// fewTraces makes a store of some traces, closed in order, as bytes.
func fewTraces(t testing.TB) (image []byte, traces map[ID][]measure.Reading) {
	path := filepath.Join(inMemory(t), "s")
	s, err := Open(path, Options{flushLate: true})
	require.NoError(t, err)
	_, err = s.PutEngine(Engine{ID: "v8", Cylinders: 8, ValvesPerCylinder: 2})
	require.NoError(t, err)
	_, err = s.PutBench(Bench{Engine: "v8"})
	require.NoError(t, err)
	traces = map[ID][]measure.Reading{}
	for i := range 20 {
		rs := turned(100+50*i, 100, uint64(i))
		traces[record(t, s, Head{Engine: "v8", Valve: "1I"}, rs, 60)] = rs
	}
	require.NoError(t, s.Close())
	image, err = os.ReadFile(path)
	require.NoError(t, err)
	return image, traces
}

// inMemory makes a folder that costs no flushing, where the system has such a
// place: nothing here is about a power cut.
func inMemory(t testing.TB) string {
	dir, err := os.MkdirTemp("/dev/shm", "lobescribe-*")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// accounted proves that every reading that was acknowledged is there or stands
// in the record of a repair, and returns how many are told of as lost.
func accounted(t testing.TB, s *Store, acked map[ID][]measure.Reading, what string) (lost uint64) {
	t.Helper()
	repairs, err := s.Repairs(true)
	require.NoError(t, err, what)
	told := map[ID]int64{}
	for _, r := range repairs {
		require.NotEmpty(t, r.Says())
		lost += r.LostReadings()
		for _, l := range r.Losses {
			if told[l.Trace] += l.Lost; l.Lost < 0 {
				told[l.Trace] = 1 << 40 // all of it, however many they were
			}
		}
	}
	for id, want := range acked {
		_, got, err := s.Load(id)
		at := 0
		for _, r := range got.Readings {
			for at < len(want) && want[at] != r {
				at++
			}
			if at == len(want) {
				t.Fatalf("%s: trace %s holds a reading that was never recorded: %+v", what, id, r)
			}
			at++
		}
		missing := int64(len(want) - len(got.Readings))
		require.GreaterOrEqual(t, told[id], missing, "%s: %d of %d readings of trace %s are missing, and %d are told of as lost (%v)", what, missing, len(want), id, told[id], err)
	}
	return lost
}

// Every byte position class of every page of a store, hurt while it is open and
// recorded into: nothing panics, recording goes on in the same trace, and what
// was acknowledged is there afterwards or is told as lost.
func TestEveryPageHurtWhileRecording(t *testing.T) {
	t.Parallel()
	image, before := fewTraces(t)
	inUse := len(image)
	for inUse > 0 && image[inUse-1] == 0 {
		inUse--
	}
	places := []int{0, 10, 24, 2048}
	if long(t, 0, 1) > 0 {
		places = []int{0, 3, 8, 10, 12, 16, 17, 20, 24, 28, 32, 36, 40, 48, 56, 64, 72, 100, 1000, 2048, 3000, 4095}
	}
	repaired, lost := 0, uint64(0)
	for page := 0; page*pageBytes < inUse; page++ {
		for _, place := range places {
			what := fmt.Sprintf("byte %d of page %d", place, page)
			path := filepath.Join(inMemory(t), "s")
			require.NoError(t, os.WriteFile(path, image, 0o600))
			s, err := Open(path, Options{flushLate: true})
			require.NoError(t, err)
			require.NoError(t, s.recount()) // as whoever tends it would
			rs := turned(900, 100, 77)
			w, err := s.Begin(Head{Engine: "v8", Valve: "2E"})
			require.NoError(t, err)
			require.NoError(t, w.Append(rs[:300], nil))

			// The bytes as they are by now.
			f, err := os.OpenFile(path, os.O_RDWR, 0)
			require.NoError(t, err)
			var b [1]byte
			at := int64(page*pageBytes + place)
			_, err = f.ReadAt(b[:], at)
			require.NoError(t, err)
			_, err = f.WriteAt([]byte{b[0] ^ byte(1<<((page+place)%8))}, at)
			require.NoError(t, err)
			require.NoError(t, f.Close())

			append := func(rs []measure.Reading) {
				for range 5 {
					if err = w.Append(rs, nil); err == nil {
						return
					}
					_, err := s.Mend(t.Context())
					require.NoError(t, err, what)
				}
				require.NoError(t, err, what)
			}
			append(rs[300:600])
			s.scrub(t.Context(), nil)
			done, err := s.Mend(t.Context())
			require.NoError(t, err, what)
			if done != nil {
				repaired++
			}
			append(rs[600:])
			for tries := 0; w.End() != nil; tries++ {
				require.Less(t, tries, 5, what)
				_, err := s.Mend(t.Context())
				require.NoError(t, err, what)
			}
			acked := map[ID][]measure.Reading{w.ID(): rs}
			for id, rs := range before {
				acked[id] = rs
			}
			require.NoError(t, s.Close(), what)
			s, err = Open(path, Options{flushLate: true, Repair: true})
			require.NoError(t, err, what)
			s.scrub(t.Context(), nil)
			_, err = s.Mend(t.Context())
			require.NoError(t, err, what)
			lost += accounted(t, s, acked, what)
			rep, err := s.Verify(t.Context())
			require.NoError(t, err)
			for _, d := range rep.Damages {
				require.True(t, d.Hole, "%s: %v", what, d)
			}
			require.NoError(t, s.Close())
		}
	}
	t.Logf("%d pages, %d repairs, %d readings told as lost", inUse/pageBytes+1, repaired, lost)
	assert.Positive(t, repaired)
}

// onWindows skips what cannot happen there, where a store that is open can be neither
// cut nor taken away.
func onWindows(t *testing.T) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("Windows lets nobody do so to a file that is open and mapped")
	}
}

// Cut to every length while it is open.
func TestCutWhileRecording(t *testing.T) {
	onWindows(t)
	t.Parallel()
	image, before := fewTraces(t)
	for n := int64(0); n < int64(len(image)); n += int64(1777 * long(t, 8, 1)) {
		what := fmt.Sprintf("cut to %d", n)
		path := filepath.Join(inMemory(t), "s")
		require.NoError(t, os.WriteFile(path, image, 0o600))
		s, err := Open(path, Options{})
		require.NoError(t, err)
		require.NoError(t, s.recount())
		rs := turned(900, 100, 77)
		w, err := s.Begin(Head{Engine: "v8", Valve: "2E"})
		require.NoError(t, err)
		require.NoError(t, w.Append(rs[:300], nil))
		require.NoError(t, os.Truncate(path, n))
		for tries := 0; ; tries++ {
			if err = w.Append(rs[300:], nil); err == nil {
				break
			}
			require.Less(t, tries, 5, "%s: %v", what, err)
			_, err := s.Mend(t.Context())
			require.NoError(t, err, what)
		}
		s.scrub(t.Context(), nil)
		_, err = s.Mend(t.Context())
		require.NoError(t, err, what)
		require.NoError(t, w.End(), what)
		acked := map[ID][]measure.Reading{w.ID(): rs}
		for id, rs := range before {
			acked[id] = rs
		}
		accounted(t, s, acked, what)
		_, got, err := s.Load(w.ID())
		require.NoError(t, err)
		require.Equal(t, rs, got.Readings, "%s: what is in memory is written again", what)
		for id := range acked { // what is there by now
			_, got, err := s.Load(id)
			if acked[id] = got.Readings; err != nil {
				delete(acked, id)
			}
		}
		if n%2 == 0 { // cut once more, and closed before anybody finds out
			require.NoError(t, os.Truncate(path, n/2))
		}
		require.NoError(t, s.Close())
		s, err = Open(path, Options{Repair: true, ProveLater: true})
		if errors.Is(err, ErrNotAStore) || errors.Is(err, ErrEmptied) {
			continue
		}
		require.NoError(t, err, what)
		s.scrub(t.Context(), nil)
		_, err = s.Mend(t.Context())
		require.NoError(t, err, what)
		accounted(t, s, acked, what)
		require.NoError(t, s.Close())
	}
}

// A store that is tended is mended without anybody's asking, and whoever uses it
// meanwhile is told that it will be.
func TestTend(t *testing.T) {
	onWindows(t)
	image, before := fewTraces(t)
	path := filepath.Join(inMemory(t), "s")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	s, err := Open(path, Options{})
	require.NoError(t, err)
	defer s.Close()
	ctx, cancel := context.WithCancel(t.Context())
	mended := make(chan *Repaired, 10)
	var tending sync.WaitGroup
	tending.Go(func() {
		s.Tend(ctx, Tending{There: 10 * time.Millisecond, Mended: func(r *Repaired, err error) {
			assert.NoError(t, err)
			mended <- r
		}})
	})
	defer func() { cancel(); tending.Wait() }()
	w, err := s.Begin(Head{})
	require.NoError(t, err)
	rs := turned(400, 100, 3)
	require.NoError(t, w.Append(rs[:200], nil))

	require.NoError(t, os.Remove(path), "its file is taken away")
	require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil && s.sound() == nil }, 30*time.Second, time.Millisecond)
	require.NoError(t, w.Append(rs[200:300], nil))
	_, got, err := s.Load(w.ID())
	require.NoError(t, err)
	require.Len(t, got.Readings, 300)

	require.NoError(t, os.Truncate(path, 3*pageBytes))
	for err := s.view(func(r rows) error { count(r); return nil }); err == nil; err = w.Append(nil, []measure.Note{{Kind: measure.NoteMark}}) {
	}
	done := <-mended
	for done == nil {
		done = <-mended
	}
	assert.Contains(t, done.Says(), "Lost")
	// What the repair left to be made again may be under way still.
	require.Eventually(t, func() bool { return w.Append(rs[300:], nil) == nil }, 30*time.Second, time.Millisecond)
	require.Eventually(t, func() bool { return w.End() == nil }, 30*time.Second, time.Millisecond)
	before[w.ID()] = rs
	accounted(t, s, before, "tended")
	require.NoError(t, s.DismissRepair(done.ID, time.Now()))
	open, err := s.Repairs(true)
	require.NoError(t, err)
	assert.Empty(t, open)
	all, err := s.Repairs(false)
	require.NoError(t, err)
	assert.Len(t, all, 1)
	assert.FileExists(t, filepath.Join(filepath.Dir(path), done.Kept))
}

// A flip in the few bytes that no row's checksum covers, what the store says of
// itself and the names of its buckets, is repaired and never makes it pass for
// another program's file or a later version's.
func TestEveryBitOfWhatAStoreSaysOfItself(t *testing.T) {
	t.Parallel()
	image, traces := fewTraces(t)
	var places []int
	for _, name := range append([]string{keySchema, keyProof}, allBuckets...) {
		for at := 0; ; {
			i := bytes.Index(image[at:], []byte(name))
			if i < 0 {
				break
			}
			for n := range len(name) + 12 {
				places = append(places, at+i+n)
			}
			at += i + 1
		}
	}
	require.NotEmpty(t, places)
	for i, at := range places {
		if long(t, 0, 1) == 0 && i%7 != 0 {
			continue
		}
		hurt := bytes.Clone(image)
		hurt[at] ^= 1 << (i % 8)
		path := filepath.Join(inMemory(t), "s")
		require.NoError(t, os.WriteFile(path, hurt, 0o600))
		s, err := Open(path, Options{flushLate: true, Repair: true})
		require.NoError(t, err, "byte %d", at)
		s.scrub(t.Context(), nil)
		_, err = s.Mend(t.Context())
		require.NoError(t, err, "byte %d", at)
		accounted(t, s, traces, fmt.Sprintf("byte %d", at))
		require.NoError(t, s.Close())
	}
}

// The head page that was written last, hurt after the last commit and before an
// orderly close: the file then shows an earlier state, and that is said.
func TestTheLastHeadPageHurtBeforeTheClose(t *testing.T) {
	image, traces := fewTraces(t)
	for _, mark := range []bool{false, true} {
		for head := range 2 {
			path := filepath.Join(inMemory(t), "s")
			require.NoError(t, os.WriteFile(path, image, 0o600))
			s, err := Open(path, Options{})
			require.NoError(t, err)
			rs := turned(900, 100, 77)
			w, err := s.Begin(Head{Engine: "v8"})
			require.NoError(t, err)
			require.NoError(t, w.Append(rs, nil))
			if mark {
				require.NoError(t, w.End())
			}
			found := head == 1
			f, err := os.OpenFile(path, os.O_RDWR, 0)
			require.NoError(t, err)
			_, err = f.WriteAt([]byte{0xff}, int64(head*pageBytes+50))
			require.NoError(t, err)
			require.NoError(t, f.Close())
			if found { // and there is no time to mend it
				_, _ = s.Begin(Head{})
			}
			require.NoError(t, s.Close())
			s, err = Open(path, Options{Repair: true, ProveLater: true})
			require.NoError(t, err)
			acked := map[ID][]measure.Reading{w.ID(): rs}
			for id, rs := range traces {
				acked[id] = rs
			}
			accounted(t, s, acked, fmt.Sprintf("head %d", head))
			require.NoError(t, s.Close())
		}
	}
}

// A database whose locks are held for good keeps its mapping, which on Unix
// holds the lock of the file: the store must be free for the next all the same.
func TestAStuckStoreCanBeOpenedAgain(t *testing.T) {
	path := filepath.Join(inMemory(t), "s")
	s, err := Open(path, Options{})
	require.NoError(t, err)
	tx, err := s.db.Begin(true) // by whoever stopped half way
	require.NoError(t, err)
	s.mu.Lock()
	s.stuck = true
	s.mu.Unlock()
	require.NoError(t, s.Close())
	again, err := Open(path, Options{Timeout: 50 * time.Millisecond})
	require.NoError(t, err)
	require.NoError(t, again.Close())
	runtime.KeepAlive(tx)
}
