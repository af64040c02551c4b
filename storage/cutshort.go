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
		if errors.Is(err, ErrNotFound) {
			return tx.Bucket([]byte(bucketOpen)).Delete(traceKey(id))
		}
		h.CutShort = true
		if tail, first, whole := readTail(r, id); whole && len(tail) > 0 {
			w := Writer{s: s, id: id, tail: tail, next: first + uint64(len(tail))}
			if _, _, err := w.put(tx, nil, true); err != nil {
				return err
			}
		}
		readings = measureExtent(r, id).readings
		return s.finish(tx, id, h)
	})
	if err == nil {
		s.log.Warn("trace was cut short and is kept", "trace", id, "readings", readings)
	}
	return err
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
