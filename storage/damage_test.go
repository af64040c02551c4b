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

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// bench is a store with a bit of everything, and what is in it.
type bench struct {
	image  []byte
	traces map[ID][]measure.Reading
	open   ID
}

func newBench(t testing.TB) bench {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s")
	s, err := Open(path, Options{flushLate: true})
	require.NoError(t, err)
	b := bench{traces: map[ID][]measure.Reading{}}
	for i, n := range []int{50_000, 1000, 3, 20_000} {
		rs := turned(n, 200, uint64(i))
		id := record(t, s, Head{Engine: "v8", Valve: []string{"1I", "1E"}[i%2], Remark: "trace"}, rs, 2500)
		require.NoError(t, s.PutFindings(id, lift.Findings{Openings: []lift.Opening{{}}, MaxLift: 5}))
		b.traces[id] = rs
	}
	_, err = s.PutEngine(Engine{ID: "v8", Cylinders: 8, ValvesPerCylinder: 2})
	require.NoError(t, err)
	_, err = s.PutTrial(Trial{Engine: "v8", Valve: "1I"})
	require.NoError(t, err)
	_, err = s.PutBench(Bench{Engine: "v8"})
	require.NoError(t, err)
	rs := turned(18_000, 200, 9)
	w, err := s.Begin(Head{Engine: "v8"})
	require.NoError(t, err)
	for at := 0; at < len(rs); at += 100 {
		require.NoError(t, w.Append(rs[at:at+100], []measure.Note{{At: rs[at].At, Kind: measure.NoteMark}}))
	}
	b.traces[w.ID()], b.open = rs, w.ID()
	require.NoError(t, s.Close())
	b.image, err = os.ReadFile(path)
	require.NoError(t, err)
	return b
}

func (b bench) write(t testing.TB, image []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	return path
}

// survivors loads every trace and proves that each reading is one that was
// recorded and that none is missing without being said so. It returns how many
// are lost.
func (b bench) survivors(t testing.TB, s *Store) (lost int) {
	t.Helper()
	for id, want := range b.traces {
		_, got, err := s.Load(id)
		if errors.Is(err, ErrNotFound) {
			lost += len(want)
			continue
		}
		at := 0
		for _, r := range got.Readings {
			for at < len(want) && want[at] != r {
				at++
			}
			if at == len(want) {
				t.Fatalf("trace %s holds a reading that was never recorded: %+v", id, r)
			}
			at++
		}
		missing := len(want) - len(got.Readings)
		lost += missing
		if missing > 0 && id != b.open {
			require.Error(t, err, "%d readings of trace %s are missing and nobody says so", missing, id)
		}
	}
	return lost
}

func TestAWholeStoreVerifies(t *testing.T) {
	b := newBench(t)
	path := b.write(t, b.image)
	rep, err := VerifyFile(t.Context(), path)
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep.String())
	assert.Equal(t, 5, rep.Traces)
	assert.EqualValues(t, 50_000+1000+3+20_000+18_000, rep.Readings)
	assert.Equal(t, 3, rep.Documents)
	assert.Contains(t, rep.String(), "whole. 5 traces, 89003 readings and 3 documents read.")
	_, aside, err := Repair(t.Context(), path, Options{})
	require.NoError(t, err)
	assert.Empty(t, aside, "a whole store is left alone")
}

// Damage of every kind, at random places: nothing panics, what is hurt is
// said, the rest reads, and a repair gives a sound store with as much in it.
func TestDamage(t *testing.T) {
	b := newBench(t)
	const page = 4096
	inUse := len(b.image)
	for inUse > 0 && b.image[inUse-1] == 0 {
		inUse--
	}
	kinds := map[string]func(rng *rand.Rand, image []byte) []byte{
		"a bit": func(rng *rand.Rand, image []byte) []byte {
			image[rng.IntN(inUse)] ^= 1 << rng.IntN(8)
			return image
		},
		"a byte of a page's head": func(rng *rand.Rand, image []byte) []byte {
			image[rng.IntN(inUse/page)*page+rng.IntN(64)] = byte(rng.Uint32())
			return image
		},
		"a page of zeros": func(rng *rand.Rand, image []byte) []byte {
			clear(image[rng.IntN(inUse/page)*page:][:page])
			return image
		},
		"a page of noise": func(rng *rand.Rand, image []byte) []byte {
			at := rng.IntN(inUse/page) * page
			for i := range page {
				image[at+i] = byte(rng.Uint32())
			}
			return image
		},
		"a page in the place of another": func(rng *rand.Rand, image []byte) []byte {
			copy(image[rng.IntN(inUse/page)*page:][:page], image[rng.IntN(inUse/page)*page:][:page])
			return image
		},
		"both heads": func(_ *rand.Rand, image []byte) []byte {
			clear(image[:2*page])
			return image
		},
		"cut off": func(rng *rand.Rand, image []byte) []byte {
			return image[:rng.IntN(inUse)]
		},
	}
	for name, hurt := range kinds {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(7, 7))
			said, cost := 0, 0
			times := long(t, 4, 200)
			// Half of the file is free or behind the end of something; go on
			// until something was hit.
			for n := 0; n < times || said == 0 && n < 100; n++ {
				image := hurt(rng, append([]byte{}, b.image...))
				path := b.write(t, image)
				rep, err := VerifyFile(t.Context(), path)
				if err != nil {
					require.True(t, errors.Is(err, ErrNotAStore) || errors.Is(err, ErrNoStore), "%v", err)
					require.True(t, name == "cut off" && len(image) < 3*page, "%v", err)
					continue
				}
				s, err := Open(path, Options{ReadOnly: true})
				require.NoError(t, err)
				lost := b.survivors(t, s)
				_, err = s.Traces(Query{Engine: "v8"})
				require.NoError(t, err)
				_, _ = s.Engines()
				require.NoError(t, s.Close())
				if lost > 0 {
					require.False(t, rep.Whole(), "%d readings are lost and verify finds nothing", lost)
				}
				if !rep.Whole() {
					said++
				}
				cost = max(cost, lost)
				if name != "cut off" {
					// A page can hold the end of one large chunk and the beginning of the next.
					require.LessOrEqual(t, lost, 2*mergeReadings, rep.String())
				}

				// Nothing here is about flushing, which is slow.
				_, aside, err := Repair(t.Context(), path, Options{flushLate: true})
				require.NoError(t, err)
				require.Equal(t, rep.Whole(), aside == "")
				if aside != "" {
					kept, err := os.ReadFile(aside)
					require.NoError(t, err)
					require.Equal(t, image, kept, "the damaged file is kept as it was")
				}
				boltCheck(t, path)
				s, err = Open(path, Options{flushLate: true})
				require.NoError(t, err)
				again, err := s.Verify(t.Context())
				require.NoError(t, err)
				for _, d := range again.Damages {
					// Holes stay holes: they must not close over a loss.
					require.Contains(t, []Part{PartReadings, PartNotes}, d.Part, "after the repair: %v", d)
					require.Regexp(t, "missing|nobody can tell whether there were more", d.Why)
				}
				after := b.survivorsOfRepair(t, s)
				require.LessOrEqual(t, after, lost)
				// And it goes on: numbers are not used again.
				w, err := s.Begin(Head{})
				require.NoError(t, err)
				require.Greater(t, w.ID(), b.highest(lost))
				require.NoError(t, w.End())
				require.NoError(t, s.Close())
			}
			t.Logf("%d were damaged in %d times, at most %d of 89003 readings were lost", said, times, cost)
			assert.Positive(t, said)
		})
	}
}

// survivorsOfRepair counts what is missing from a repaired store.
func (b bench) survivorsOfRepair(t testing.TB, s *Store) (lost int) {
	for id, want := range b.traces {
		_, got, _ := s.Load(id)
		missing := len(want) - len(got.Readings)
		if lost += missing; missing > 0 {
			_, err := s.Findings(id)
			require.ErrorIs(t, err, ErrNotFound, "what was found in a trace that lacks readings since")
		}
	}
	return lost
}

// highest is the number that a new trace must be above, when all was not lost.
func (b bench) highest(lost int) ID {
	if lost > 0 {
		return 0
	}
	return b.open
}

// The last key of a page can be of a wrong length with nothing behind it to
// show that: only its own form tells. A lost row of a trace in the making is
// missed by no count.
func TestARowUnderNoKeyIsSaid(t *testing.T) {
	b := newBench(t)
	path := b.write(t, b.image)
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		tail := tx.Bucket([]byte(bucketTail))
		k, v := tail.Cursor().Last()
		require.Len(t, k, 16)
		k, v = bytes.Clone(k), bytes.Clone(v)
		require.NoError(t, tail.Delete(k))
		return tail.Put(append(k, v[0]), v[1:])
	}))
	require.NoError(t, db.Close())
	rep, err := VerifyFile(t.Context(), path)
	require.NoError(t, err)
	require.Len(t, rep.Damages, 1, rep.String())
	assert.Regexp(t, `a row in "tail" has a key that is none: 0000000000000005`, rep.Damages[0].Error())
	_, aside, err := Repair(t.Context(), path, Options{})
	require.NoError(t, err)
	assert.NotEmpty(t, aside)
	rep, err = VerifyFile(t.Context(), path)
	require.NoError(t, err)
	for _, d := range rep.Damages {
		assert.NotEqual(t, PartPages, d.Part, "%v", d)
	}
}

// Of a trace whose head and readings are gone the notes are kept, and repairing
// once is enough.
func TestRepairOfATraceOfWhichNotesAreLeft(t *testing.T) {
	b := newBench(t)
	path := b.write(t, b.image)
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		for _, bucket := range []string{bucketHeads, bucketOpen} {
			require.NoError(t, tx.Bucket([]byte(bucket)).Delete(traceKey(b.open)))
		}
		require.NoError(t, wipe(tx, bucketChunks, b.open, 0))
		return wipe(tx, bucketTail, b.open, 0)
	}))
	path = filepath.Join(t.TempDir(), "s")
	bare, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, bbolt.Compact(bare, db, 0), "or the deleted lies loose, and is taken in again")
	require.NoError(t, errors.Join(db.Close(), bare.Close()))
	_, aside, err := Repair(t.Context(), path, Options{})
	require.NoError(t, err)
	assert.NotEmpty(t, aside)
	s, err := Open(path, Options{})
	require.NoError(t, err)
	defer s.Close()
	_, trace, err := s.Load(b.open)
	for _, d := range DamagesIn(err) {
		assert.Equal(t, PartReadings, d.Part, "%v", d)
	}
	assert.Zero(t, len(trace.Readings))
	assert.Len(t, trace.Notes, 180)
	sum, err := s.Summary(b.open)
	require.NoError(t, err)
	assert.Equal(t, "repaired", sum.Source)
	again, err := s.Verify(t.Context())
	require.NoError(t, err)
	for _, d := range again.Damages {
		assert.Equal(t, PartReadings, d.Part, "%v", d)
	}
}

func TestOpenCanRepair(t *testing.T) {
	b := newBench(t)
	image := append([]byte{}, b.image...)
	clear(image[:2*4096])
	path := b.write(t, image)
	_, err := Open(path, Options{})
	require.ErrorIs(t, err, ErrDamaged)
	assert.Contains(t, err.Error(), "repair it: what still reads is taken into a new store")
	s, err := Open(path, Options{Repair: true})
	require.NoError(t, err)
	defer s.Close()
	assert.Zero(t, b.survivorsOfRepair(t, s), "without a tree all chunks are still there")
	e, err := s.Engine("v8")
	require.NoError(t, err)
	assert.Equal(t, 8, e.Cylinders)
	sum, err := s.Summary(1)
	require.NoError(t, err)
	assert.Equal(t, "1I", sum.Valve)
	assert.Nil(t, sum.MaxLift, "nothing tells whether there were more readings, so it is to be worked out again")
}
