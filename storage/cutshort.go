package storage

import (
	"errors"

	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// cutShort ends a trace that was in the making when the program stopped. Its
// small chunks are merged like those of any other trace, unless one of them is
// damaged: then they stay as they are, so that nothing more is lost.
func (s *Store) cutShort(id ID) error {
	var readings uint64
	err := s.update(OpOpen, func(tx *bbolt.Tx) error {
		r := boltRows{tx}
		h, err := readHead(r, id)
		switch gone := errors.Is(err, ErrNotFound); {
		case gone && s.made[id] == 0:
			return tx.Bucket([]byte(bucketOpen)).Delete(traceKey(id))
		case gone: // which its line is to tell
			if err := putHead(tx, id, nil, h); err != nil {
				return err
			}
		}
		h.CutShort = true
		if tail, first, whole := readTail(r, id); whole && len(tail) > 0 {
			w := Writer{s: s, id: id, tail: tail, next: first + uint64(len(tail))}
			if _, _, err := w.put(tx, nil, true); err != nil {
				return err
			}
		}
		readings = measureExtent(r, id).readings
		had, known := s.hadOf(r, id)
		if !known {
			return errors.Join(s.end(tx, id, h), s.dropSummary(tx, id), s.enqueue(tx, ErrandTrace, id.String(), true))
		}
		return s.finish(tx, id, h, had)
	})
	if err == nil {
		s.log.Warn("trace was cut short and is kept", "trace", id, "readings", readings)
	}
	return err
}

// hadOf says how many readings a trace had that nobody ended: its line in the lists
// remembers them, so that whoever looks the store through finds what is missing, and
// a repair tells of it. known is false when nothing tells how many there were.
func (s *Store) hadOf(r rows, id ID) (n uint64, known bool) {
	e := measureExtent(r, id)
	if acked, ok := s.made[id]; ok {
		return max(acked, e.readings), true
	}
	if len(e.damage) == 0 && e.end > e.readings {
		for _, done := range repairsIn(r) {
			for _, l := range done.Losses {
				if l.Trace == id {
					return e.readings, true // the hole was told of
				}
			}
		}
	}
	for _, d := range e.damage {
		if d.First >= e.end {
			return 0, false
		}
	}
	return e.end, true
}

// readTail unpacks the small chunks of a trace. whole is false when one does
// not read or one is missing.
func readTail(r rows, id ID) (tail []measure.Reading, first uint64, whole bool) {
	var dec chunk.Decoder
	whole = true
	next := uint64(0)
	ofTrace(r, bucketTail, id, 0, func(f uint64, v []byte) bool {
		var h chunk.Head
		var err error
		tail, h, err = dec.Append(tail, v)
		if err != nil || ID(h.Trace) != id || h.First != f || (next != 0 && f != next) {
			whole = false
			return false
		}
		if next == 0 {
			first = f
		}
		next = f + uint64(h.Count)
		return true
	})
	return tail, first, whole
}
