package storage

import (
	"fmt"

	"go.etcd.io/bbolt"
)

// A tally is how much there is in a store, or was. It stands in the mark of an
// orderly close, so that a repair can say what of it is gone.
type tally struct {
	// Known: the others are true. A store that was not closed in order has no
	// tally until somebody has been through all of it.
	Known    bool   `json:"known,omitempty"`
	Traces   uint64 `json:"traces"` // that ended
	Readings uint64 `json:"readings"`
	// Documents are engines, trials and works, and what the bench is set to.
	Documents uint64 `json:"documents"`
	// Newest is the highest number that a trace has had.
	Newest ID `json:"newest"`
}

// count adds up what there is.
func count(r rows) (t tally) {
	t.Known = true
	r.ascend(bucketSummaries, nil, func(k, v []byte) bool {
		var sum Summary
		if unseal(sealSummary, k, v, &sum) == nil {
			t.Traces++
			t.Readings += sum.Readings
			t.Newest = max(t.Newest, sum.ID)
		}
		return true
	})
	t.Documents = countDocuments(r)
	return t
}

func countDocuments(r rows) (n uint64) {
	r.ascend(bucketDocs, nil, func(k, _ []byte) bool {
		if !isRepairKey(k) {
			n++
		}
		return true
	})
	return n
}

// recount counts what is in the store. The error says that it is less than was
// known to be there; rows can go without a trace when a page is hurt before it is
// written again.
func (s *Store) recount() error {
	s.writing.Lock() // what ends while it is counted would be counted twice or not at all
	defer s.writing.Unlock()
	var is tally
	if s.view(func(r rows) error { is = count(r); return nil }) != nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	was := s.tally
	if was.Known && (is.Traces < was.Traces || is.Readings < was.Readings || is.Documents < was.Documents) {
		return fmt.Errorf("%d traces with %d readings and %d documents are left of %d with %d and %d",
			is.Traces, is.Readings, is.Documents, was.Traces, was.Readings, was.Documents)
	}
	is.Newest = max(is.Newest, was.Newest)
	s.tally = is
	return nil
}

// putSummary writes the line of a trace in the lists.
func (s *Store) putSummary(tx *bbolt.Tx, id ID) error { return s.putSummaryOf(tx, id, 0) }

// putSummaryOf is putSummary for a trace that had so many readings, if that is more
// than read.
func (s *Store) putSummaryOf(tx *bbolt.Tx, id ID, least uint64) error {
	key := traceKey(id)
	sum := summarise(boltRows{tx}, id)
	sum.Readings = max(sum.Readings, least)
	v, err := seal(sealSummary, key, sum)
	if err != nil {
		return err
	}
	b := tx.Bucket([]byte(bucketSummaries))
	var was Summary
	had := unseal(sealSummary, key, b.Get(key), &was) == nil
	if had && sum.Readings < was.Readings {
		return fmt.Errorf("%w (trace %s: %d readings are left of %d)", ErrDamaged, id, sum.Readings, was.Readings)
	}
	tx.OnCommit(func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.tally.Readings += sum.Readings - was.Readings
		if !had {
			s.tally.Traces++
		}
		s.tally.Newest = max(s.tally.Newest, id)
	})
	return b.Put(key, v)
}

// dropSummary takes away the line of a trace, if it has one: nothing tells how many
// readings it had, and how many there are in all is not known from then on.
func (s *Store) dropSummary(tx *bbolt.Tx, id ID) error {
	tx.OnCommit(func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.tally.Known, s.tally.Newest = false, max(s.tally.Newest, id)
	})
	return tx.Bucket([]byte(bucketSummaries)).Delete(traceKey(id))
}

// countDoc counts a document of which there are about to be so many, 1 or 0.
func (s *Store) countDoc(tx *bbolt.Tx, key []byte, will uint64) {
	var had uint64
	if tx.Bucket([]byte(bucketDocs)).Get(key) != nil {
		had = 1
	}
	tx.OnCommit(func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.tally.Documents += will - had
	})
}
