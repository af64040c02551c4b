package storage

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"syscall"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

const (
	// mergeReadings is the size of a large chunk: what a damaged one costs,
	// and what a partial load reads too much.
	mergeReadings = 16_384
	// mergeChunks bounds the small chunks of a slow instrument.
	mergeChunks = 1024
)

// A Writer appends to one trace in the making.
type Writer struct {
	s  *Store
	id ID

	mu    sync.Mutex
	head  Head
	ended bool
	next  uint64 // readings that are acknowledged
	notes uint64 // notes that are acknowledged
	last  measure.Stamp
	lost  uint64 // readings that were acknowledged and are gone; see Mend
	// The readings that stand in small chunks on disk, ready to be merged.
	tail       []measure.Reading
	tailChunks int
	// doubt: the last transaction failed and may be on disk all the same. The
	// next one first clears away whatever it left.
	doubt bool
	enc   chunk.Encoder
	buf   []byte
}

// Begin starts a trace, which is in the store when Begin returns.
func (s *Store) Begin(h Head) (*Writer, error) {
	if h.Started.IsZero() {
		h.Started = time.Now()
	}
	h.Started = h.Started.Round(0) // the monotonic part does not outlive the process
	h.CutShort = false
	w := &Writer{s: s, head: h}
	s.mu.Lock()
	ghosts := slices.Clone(s.ghosts)
	s.mu.Unlock()
	err := s.update(OpBegin, func(tx *bbolt.Tx) error {
		for _, id := range ghosts {
			if err := lay(tx, id); err != nil {
				return err
			}
		}
		var err error
		if w.id, err = s.nextTrace(tx); err != nil {
			return err
		}
		s.mu.Lock()
		s.open[w.id] = w // before anybody can see it in the file
		s.mu.Unlock()
		if err := tx.Bucket([]byte(bucketOpen)).Put(traceKey(w.id), nil); err != nil {
			return err
		}
		return putHead(tx, w.id, nil, h)
	})
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		if w.id != 0 {
			delete(s.open, w.id)
			if !slices.Contains(s.ghosts, w.id) { // a disk that stays full refuses the same number again and again
				s.ghosts = append(s.ghosts, w.id)
			}
		}
		return nil, fmt.Errorf("beginning a trace: %w", advise(err))
	}
	s.ghosts = s.ghosts[len(ghosts):]
	return w, nil
}

// lay removes the head of a trace: one that a failed Begin may have left all the
// same, since the disk refused to say so, or that is discarded.
func lay(tx *bbolt.Tx, id ID) error {
	h, err := readHead(boltRows{tx}, id)
	if err != nil {
		return nil // it did not get there
	}
	for _, k := range indexKeys(id, h.Engine, h.Valve) {
		if err := tx.Bucket([]byte(bucketIndex)).Delete(k); err != nil {
			return err
		}
	}
	key := traceKey(id)
	return errors.Join(tx.Bucket([]byte(bucketHeads)).Delete(key), tx.Bucket([]byte(bucketOpen)).Delete(key))
}

// ID returns the trace's number.
func (w *Writer) ID() ID { return w.id }

// Head returns the head as it stands.
func (w *Writer) Head() Head {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.head
}

// Readings returns how many readings are acknowledged.
func (w *Writer) Readings() uint64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.next
}

// acknowledged returns the head and how many readings are acknowledged.
func (w *Writer) acknowledged() (Head, uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.head, w.next
}

// Append adds readings, in order of time, and notes. When it returns nil they
// are on disk. On an error none of them counts as written: append them again
// when the cause is gone. One call is one transaction and two flushes of the
// disk, so collect about half a second of readings a call.
//
// ErrOrder is for a reading that is older than the one before; equal stamps
// are taken.
func (w *Writer) Append(readings []measure.Reading, notes []measure.Note) error {
	if len(readings) == 0 && len(notes) == 0 {
		return nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return fmt.Errorf("trace %s: %w", w.id, ErrEnded)
	}
	if err := w.check(readings); err != nil {
		return err
	}
	tail, tailChunks := w.tail, w.tailChunks
	err := w.s.update(OpAppend, func(tx *bbolt.Tx) (err error) {
		if tail, tailChunks, err = w.put(tx, readings, false); err != nil {
			return err
		}
		return w.putNotes(tx, notes)
	})
	if err != nil {
		w.doubt = true
		return fmt.Errorf("recording trace %s: %w", w.id, advise(err))
	}
	w.doubt = false
	w.tail, w.tailChunks = tail, tailChunks
	w.next += uint64(len(readings))
	w.notes += uint64(len(notes))
	if n := len(readings); n > 0 {
		w.last = readings[n-1].At
	}
	return nil
}

func (w *Writer) check(readings []measure.Reading) error {
	last := w.last
	for i, r := range readings {
		if r.At < last && (i > 0 || w.next > 0) {
			return fmt.Errorf("recording trace %s: %w: reading %d is of %s, the one before of %s", w.id, ErrOrder, w.next+uint64(i), r.At, last)
		}
		if r.Has&^measure.HasAll != 0 {
			return fmt.Errorf("recording trace %s: reading %d carries a quantity that this version cannot store (%#x)", w.id, w.next+uint64(i), r.Has)
		}
		last = r.At
	}
	return nil
}

// put writes readings behind the acknowledged ones and returns what the tail
// is once the transaction stands. It works from what is acknowledged only, so
// that doing it twice leaves what doing it once would.
func (w *Writer) put(tx *bbolt.Tx, readings []measure.Reading, all bool) (tail []measure.Reading, chunks int, err error) {
	from := w.next - uint64(len(w.tail))
	small := len(w.tail)+len(readings) < mergeReadings && w.tailChunks+1 < mergeChunks && !all
	// What is appended stands behind the acknowledged ones in the same memory,
	// where a transaction that fails leaves nothing that counts.
	tail = w.tail
	if small && !w.doubt {
		if len(readings) == 0 {
			return w.tail, w.tailChunks, nil
		}
		if err := w.putChunk(tx, bucketTail, w.next, readings); err != nil {
			return nil, 0, err
		}
		return append(tail, readings...), w.tailChunks + 1, nil
	}
	if err := wipe(tx, bucketTail, w.id, from); err != nil {
		return nil, 0, err
	}
	if w.doubt {
		if err := wipe(tx, bucketChunks, w.id, from); err != nil {
			return nil, 0, err
		}
	}
	tail = append(tail, readings...)
	for len(tail) >= mergeReadings || (len(tail) > 0 && !small) {
		n := min(len(tail), mergeReadings)
		if err := w.putChunk(tx, bucketChunks, from, tail[:n]); err != nil {
			return nil, 0, err
		}
		from += uint64(n)
		tail = tail[n:]
		// What is left of a full tail is the beginning of the next one.
		small = !all && len(tail) < mergeReadings
	}
	if len(tail) == 0 {
		return nil, 0, nil
	}
	tail = ownCopy(tail)
	return tail, 1, w.putChunk(tx, bucketTail, from, tail)
}

// ownCopy returns the readings in memory of their own, so that a short rest
// does not keep a long array alive.
func ownCopy(rs []measure.Reading) []measure.Reading {
	return append(make([]measure.Reading, 0, 2*len(rs)), rs...)
}

func (w *Writer) putChunk(tx *bbolt.Tx, bucket string, first uint64, readings []measure.Reading) error {
	b := tx.Bucket([]byte(bucket))
	b.FillPercent = 1 // keys only ever grow
	// bbolt keeps the value until the commit, so each has memory of its own.
	w.buf = w.enc.Append(w.buf[:0], uint64(w.id), first, readings)
	return b.Put(spanKey(w.id, first), bytes.Clone(w.buf))
}

func (w *Writer) putNotes(tx *bbolt.Tx, notes []measure.Note) error {
	if w.doubt {
		if err := wipe(tx, bucketNotes, w.id, w.notes); err != nil {
			return err
		}
	}
	if len(notes) == 0 {
		return nil
	}
	key := spanKey(w.id, w.notes)
	v, err := seal(sealNotes, key, notes)
	if err != nil {
		return err
	}
	return tx.Bucket([]byte(bucketNotes)).Put(key, v)
}

// Amend changes the head of the trace in the making. When it returns nil the
// change is on disk; on an error it is kept in memory and written with End.
func (w *Writer) Amend(change func(*Head)) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return fmt.Errorf("trace %s: %w", w.id, ErrEnded)
	}
	started := w.head.Started
	change(&w.head)
	if w.head.Started.IsZero() {
		w.head.Started = started
	}
	w.head.Started = w.head.Started.Round(0)
	w.head.CutShort = false
	err := w.s.update(OpAmend, func(tx *bbolt.Tx) error { return rewriteHead(tx, w.id, w.head) })
	if err != nil {
		return fmt.Errorf("writing the head of trace %s: %w", w.id, advise(err))
	}
	return nil
}

// End finishes the trace. When it fails the trace stays in the making: End it
// again, or let the next opening of the store mark it as cut short. Ending
// twice is harmless.
func (w *Writer) End() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return nil
	}
	err := w.s.update(OpEnd, func(tx *bbolt.Tx) error {
		if _, _, err := w.put(tx, nil, true); err != nil {
			return err
		}
		if err := w.putNotes(tx, nil); err != nil {
			return err
		}
		if n := measureExtent(boltRows{tx}, w.id).readings; n+w.lost < w.next {
			return fmt.Errorf("%w (trace %s: %d readings are left of %d)", ErrDamaged, w.id, n, w.next)
		}
		return w.s.finish(tx, w.id, w.head, 0)
	})
	if err != nil {
		w.doubt = true
		return fmt.Errorf("ending trace %s: %w", w.id, advise(err))
	}
	w.ended, w.tail, w.buf = true, nil, nil
	w.s.mu.Lock()
	delete(w.s.open, w.id)
	w.s.mu.Unlock()
	return nil
}

// Discard takes a trace that has not ended out of the store again, for a file that
// turns out to be no trace half way through. Its number is not used again. On an
// error the next opening of the store finds the trace, and marks it as cut short.
func (w *Writer) Discard() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return fmt.Errorf("trace %s: %w", w.id, ErrEnded)
	}
	w.ended, w.tail, w.buf = true, nil, nil
	w.s.mu.Lock()
	delete(w.s.open, w.id) // first: whoever looks the store through then does not miss its readings
	w.s.mu.Unlock()
	err := w.s.update(OpDiscard, func(tx *bbolt.Tx) error {
		for _, bucket := range []string{bucketChunks, bucketTail, bucketNotes} {
			if err := wipe(tx, bucket, w.id, 0); err != nil {
				return err
			}
		}
		return lay(tx, w.id)
	})
	if err != nil {
		return fmt.Errorf("taking trace %s out of the store: %w", w.id, advise(err))
	}
	return nil
}

// Hinders says whether somebody else records into the store at this moment. Who
// writes much that can wait then leaves the disk alone between two transactions.
func (w *Writer) Hinders() bool {
	w.s.mu.Lock()
	defer w.s.mu.Unlock()
	return len(w.s.open) > 1
}

// finish writes the last head and the summary, takes the open mark away, and
// lets the shop hear of the trace. had is how many readings it had, if that is more
// than read.
func (s *Store) finish(tx *bbolt.Tx, id ID, h Head, had uint64) error {
	if err := s.end(tx, id, h); err != nil {
		return err
	}
	if err := s.putSummaryOf(tx, id, had); err != nil {
		return err
	}
	return s.enqueue(tx, ErrandTrace, id.String(), true)
}

// end writes the last head and takes the open mark away.
func (s *Store) end(tx *bbolt.Tx, id ID, h Head) error {
	if err := tx.Bucket([]byte(bucketOpen)).Delete(traceKey(id)); err != nil {
		return err
	}
	return rewriteHead(tx, id, h)
}

// rewriteHead replaces a stored head and its index keys.
func rewriteHead(tx *bbolt.Tx, id ID, h Head) error {
	var before *Head
	switch old, err := readHead(boltRows{tx}, id); {
	case err == nil:
		before = &old
	case errors.Is(err, ErrNotFound):
		return err
	}
	return putHead(tx, id, before, h)
}

// putHead stores a head. What a later version wrote into it and this one does
// not know is kept.
func putHead(tx *bbolt.Tx, id ID, before *Head, h Head) error {
	key := traceKey(id)
	heads := tx.Bucket([]byte(bucketHeads))
	stored := storedHead{Head: h}
	var old []byte
	if before != nil {
		var was storedHead
		old, _ = sealed(sealHead, key, heads.Get(key))
		if json.Unmarshal(old, &was) == nil {
			stored.Writing = was.Writing + 1
		}
	}
	merged, err := keepUnknown(old, stored)
	if err != nil {
		return err
	}
	v, err := seal(sealHead, key, merged)
	if err != nil {
		return err
	}
	if err := heads.Put(key, v); err != nil {
		return err
	}
	index := tx.Bucket([]byte(bucketIndex))
	if before != nil {
		if before.Engine == h.Engine && before.Valve == h.Valve {
			return nil
		}
		for _, k := range indexKeys(id, before.Engine, before.Valve) {
			if err := index.Delete(k); err != nil {
				return err
			}
		}
	}
	for _, k := range indexKeys(id, h.Engine, h.Valve) {
		if err := index.Put(k, nil); err != nil {
			return err
		}
	}
	return nil
}

// advise adds to an error of the system what a person can do about it.
func advise(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return fmt.Errorf("%w: make room on the disk; what is not yet written is kept in memory and tried again", err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w: the disk was made read-only, often because it is failing; look at the system's log", err)
	case errors.Is(err, syscall.EIO):
		return fmt.Errorf("%w: the disk is failing; copy the store to another one", err)
	}
	return err
}
