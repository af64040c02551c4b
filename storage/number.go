package storage

import (
	"go.etcd.io/bbolt"

	"lobescribe/storage/chunk"
)

// mostUnused is how many numbers in a row may have been given to nothing that is
// there. A count that is further ahead is hurt.
const mostUnused = 1 << 20

// nextTrace returns the number of the next trace, and notes that it is given.
func (s *Store) nextTrace(tx *bbolt.Tx) (ID, error) {
	id := s.unusedTrace(tx)
	return id, tx.Bucket([]byte(bucketHeads)).SetSequence(uint64(id))
}

// unusedTrace returns a number that no trace has had. Nothing proves the count that
// a bucket keeps: with a bit of it flipped it would give a number that is taken, and
// the new trace would be written over the old one.
func (s *Store) unusedTrace(tx *bbolt.Tx) ID {
	s.mu.Lock()
	last := s.tally.Newest
	for id := range s.open {
		last = max(last, id)
	}
	s.mu.Unlock()
	r := boltRows{tx}
	r.descend(bucketHeads, nil, func(k, v []byte) bool {
		id, ok := splitTraceKey(k)
		if _, err := sealed(sealHead, k, v); !ok || err != nil {
			return true // not a number that is to be believed
		}
		last = max(last, id)
		return false
	})
	for _, bucket := range []string{bucketChunks, bucketTail} {
		r.descend(bucket, nil, func(k, v []byte) bool {
			id, first, ok := splitSpanKey(k)
			h, err := chunk.Peek(v)
			if !ok || err != nil || ID(h.Trace) != id || h.First != first {
				return true
			}
			last = max(last, id)
			return false
		})
	}
	return ID(nextNumber(tx.Bucket([]byte(bucketHeads)).Sequence(), uint64(last)))
}

// nextNumber returns the number after both what was counted and the last one that is
// taken.
func nextNumber(counted, taken uint64) uint64 {
	if counted > taken+mostUnused {
		counted = taken
	}
	return max(counted, taken) + 1
}
