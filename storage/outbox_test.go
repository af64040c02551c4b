package storage

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// outbox empties the outbox and returns what was in it.
func outbox(t testing.TB, s *Store) (all []Errand) {
	t.Helper()
	for {
		e, ok, err := s.NextErrand()
		require.NoError(t, err)
		if !ok {
			return all
		}
		require.NoError(t, s.ErrandDone(e, time.Now()))
		e.Number, e.Since = 0, time.Time{}
		all = append(all, e)
	}
}

func TestAStoreOutsideAShopHasNoOutbox(t *testing.T) {
	s := newStore(t, Options{})
	record(t, s, Head{Valve: "1I"}, turned(100, 100, 1), 50)
	assert.Empty(t, outbox(t, s))
	_, joined, err := s.ShopSelf()
	require.NoError(t, err)
	assert.False(t, joined)
	require.NoError(t, s.view(func(r rows) error {
		for _, bucket := range shopBuckets {
			r.ascend(bucket, nil, func(k, _ []byte) bool { t.Errorf("%s has %q", bucket, k); return true })
		}
		return nil
	}))
}

func TestWhatGoesIntoTheOutbox(t *testing.T) {
	s := newStore(t, Options{})
	engine, err := s.PutEngine(eight())
	require.NoError(t, err)
	early := record(t, s, Head{Engine: engine.ID, Valve: "1I"}, turned(100, 100, 1), 50)
	self, err := s.JoinShop("bench-1")
	require.NoError(t, err)
	trace := func(id ID, readings bool) Errand {
		return Errand{Kind: ErrandTrace, Name: id.String(), Readings: readings}
	}
	assert.Equal(t, []Errand{{Kind: ErrandEngine, Name: engine.ID, Readings: true}, trace(early, true)}, outbox(t, s), "all that was there before")
	again, err := s.JoinShop("bench-one")
	require.NoError(t, err)
	assert.Equal(t, self.Origin, again.Origin)
	assert.Empty(t, outbox(t, s), "a new name is no news")

	id := record(t, s, Head{Engine: engine.ID, Valve: "1E"}, turned(100, 100, 2), 50)
	record(t, s, Head{Source: SourceDemo}, turned(100, 100, 3), 50)
	require.NoError(t, s.Relabel(id, engine.ID, "2E", "", ""))
	assert.Equal(t, []Errand{trace(id, true)}, outbox(t, s), "once, with the readings")
	require.NoError(t, s.Relabel(id, engine.ID, "3E", "", ""))
	require.NoError(t, s.DeleteEngine(engine.ID, engine.Rev))
	_, err = s.PutBench(Bench{Valve: "1I"})
	require.NoError(t, err)
	assert.Equal(t, []Errand{trace(id, false), {Kind: ErrandEngine, Name: engine.ID}}, outbox(t, s))
	sent, err := s.Sent()
	require.NoError(t, err)
	assert.Equal(t, uint64(5), sent.Errands)
}

// An errand whose thing changed while it was carried is not struck off.
func TestAChangeUnderWayIsNotForgotten(t *testing.T) {
	s := newStore(t, Options{})
	_, err := s.JoinShop("bench-1")
	require.NoError(t, err)
	a := record(t, s, Head{Valve: "1I"}, turned(10, 100, 1), 10)
	b := record(t, s, Head{Valve: "1I"}, turned(10, 100, 1), 10)
	first, _, err := s.NextErrand()
	require.NoError(t, err)
	require.NoError(t, s.Relabel(a, "", "2I", "", ""))
	require.NoError(t, s.ErrandDone(first, time.Now()))
	n, since, err := s.Waiting()
	require.NoError(t, err)
	assert.Equal(t, 2, n)
	assert.Equal(t, first.Since, since, "it waits since the first change")
	next, _, err := s.NextErrand()
	require.NoError(t, err)
	assert.Equal(t, b.String(), next.Name, "what changed is at the end")
}

// The errand is in the transaction that ends the trace: either both or none.
func TestTheErrandEndsWithTheTrace(t *testing.T) {
	refuse := false
	s := newStore(t, Options{Fault: func(op Op) error {
		if refuse && op == OpEnd {
			return errors.New("no")
		}
		return nil
	}})
	_, err := s.JoinShop("bench-1")
	require.NoError(t, err)
	w, err := s.Begin(Head{Valve: "1I"})
	require.NoError(t, err)
	require.NoError(t, w.Append(turned(10, 100, 1), nil))
	refuse = true
	require.Error(t, w.End())
	n, _, err := s.Waiting()
	require.NoError(t, err)
	assert.Zero(t, n)
	refuse = false
	require.NoError(t, w.End())
	assert.Len(t, outbox(t, s), 1)
}

func TestRepairKeepsTheOutboxAndTellsAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.lobes")
	s, err := Open(path, Options{})
	require.NoError(t, err)
	self, err := s.JoinShop("bench-1")
	require.NoError(t, err)
	sent := record(t, s, Head{Valve: "1I"}, turned(10, 100, 1), 10)
	outbox(t, s)
	waits := record(t, s, Head{Valve: "1E"}, turned(10, 100, 1), 10)
	require.NoError(t, s.update(OpDocument, func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte(bucketShop)).Put([]byte("book"), []byte("scribble"))
	}))
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Len(t, rep.Damages, 1)
	assert.Equal(t, PartShop, rep.Damages[0].Part)
	require.NoError(t, s.Close())
	_, _, err = Repair(t.Context(), path, Options{})
	require.NoError(t, err)
	got, err := Open(path, Options{})
	require.NoError(t, err)
	defer got.Close()
	is, joined, err := got.ShopSelf()
	require.NoError(t, err)
	assert.True(t, joined)
	assert.Equal(t, self, is)
	names := map[string]bool{}
	for _, e := range outbox(t, got) {
		names[e.Name] = true
	}
	assert.Equal(t, map[string]bool{sent.String(): true, waits.String(): true}, names)
}

// A trace that cannot be made of its parts leaves nothing behind.
func TestATraceFromElsewhereComesWholeOrNotAtAll(t *testing.T) {
	s := newStore(t, Options{})
	rs := turned(100, 100, 1)
	var enc chunk.Encoder
	hold := func(in *Intake, first int, part []measure.Reading) {
		_, err := in.HoldPart("k", uint64(first), enc.Append(nil, 0, uint64(first), part))
		require.NoError(t, err)
	}
	seen := func([]measure.Reading) error { return nil }
	add := func(in *Intake, n uint64) error {
		_, err := in.AddTrace(HeldTrace{Key: "k", Readings: n, Head: Head{Valve: "1I", Started: time.Unix(9, 0)}}, seen)
		return err
	}
	require.NoError(t, s.Receive(func(in *Intake) error {
		hold(in, 0, rs[:60])
		assert.ErrorIs(t, add(in, 100), ErrNotWhole)
		hold(in, 60, rs[60:])
		assert.ErrorIs(t, add(in, 99), ErrTooMany)
		return nil
	}))
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	assert.Empty(t, list)
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep)
	require.NoError(t, s.Receive(func(in *Intake) error { return add(in, 100) }))
	list, err = s.Traces(Query{})
	require.NoError(t, err)
	require.Len(t, list, 1)
	_, tr, err := s.Load(list[0].ID)
	require.NoError(t, err)
	assert.Equal(t, rs, tr.Readings)
	// A transaction that fails leaves nothing either.
	require.Error(t, s.Receive(func(in *Intake) error {
		_, err := in.DropParts("k")
		require.NoError(t, err)
		return errors.New("no")
	}))
	require.NoError(t, s.Receive(func(in *Intake) error { assert.NotNil(t, in.Part("k", 60)); return nil }))
}
