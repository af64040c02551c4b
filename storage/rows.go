package storage

import (
	"bytes"

	"go.etcd.io/bbolt"
)

// rows is one state of the store, for reading: of the database, or of what a
// damaged file still holds. Keys and values are valid until the view ends.
type rows interface {
	get(bucket string, key []byte) []byte
	// ascend yields rows with from <= key in order; a nil from means all.
	ascend(bucket string, from []byte, yield func(k, v []byte) bool)
	// descend yields rows with key < below, last first; a nil below means all.
	descend(bucket string, below []byte, yield func(k, v []byte) bool)
}

type boltRows struct{ tx *bbolt.Tx }

func (r boltRows) get(bucket string, key []byte) []byte {
	b := r.tx.Bucket([]byte(bucket))
	if b == nil {
		return nil
	}
	return b.Get(key)
}

func (r boltRows) ascend(bucket string, from []byte, yield func(k, v []byte) bool) {
	b := r.tx.Bucket([]byte(bucket))
	if b == nil {
		return
	}
	c := b.Cursor()
	k, v := c.Seek(from)
	for ; k != nil && yield(k, v); k, v = c.Next() {
	}
}

func (r boltRows) descend(bucket string, below []byte, yield func(k, v []byte) bool) {
	b := r.tx.Bucket([]byte(bucket))
	if b == nil {
		return
	}
	c := b.Cursor()
	var k, v []byte
	if below == nil {
		k, v = c.Last()
	} else if at, _ := c.Seek(below); at == nil {
		k, v = c.Last()
	} else {
		k, v = c.Prev()
	}
	for ; k != nil && yield(k, v); k, v = c.Prev() {
	}
}

// ofTrace yields the rows of a bucket with (trace, number) keys that belong to
// the trace, from number first on.
func ofTrace(r rows, bucket string, id ID, first uint64, yield func(first uint64, v []byte) bool) {
	r.ascend(bucket, spanKey(id, first), func(k, v []byte) bool {
		owner, first, ok := splitSpanKey(k)
		return ok && owner == id && yield(first, v)
	})
}

// lastOfTrace returns the last row of a trace that begins before number below.
func lastOfTrace(r rows, bucket string, id ID, below uint64) (first uint64, value []byte, ok bool) {
	r.descend(bucket, spanKey(id, below), func(k, v []byte) bool {
		var owner ID
		if owner, first, ok = splitSpanKey(k); ok && owner == id {
			value = v
		} else {
			ok = false
		}
		return false
	})
	return first, value, ok
}

// wipe deletes the rows of a trace from number first on.
func wipe(tx *bbolt.Tx, bucket string, id ID, first uint64) error {
	b := tx.Bucket([]byte(bucket))
	c := b.Cursor()
	prefix := traceKey(id)
	var keys [][]byte
	for k, _ := c.Seek(spanKey(id, first)); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
		keys = append(keys, bytes.Clone(k))
	}
	for _, k := range keys {
		if err := b.Delete(k); err != nil {
			return err
		}
	}
	return nil
}
