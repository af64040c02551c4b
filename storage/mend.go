package storage

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"go.etcd.io/bbolt"
)

// ErrLost says that the store was found hurt and could not be put right, so that
// it takes nothing for now. Whoever has something to keep keeps it elsewhere.
var ErrLost = errors.New("the store is hurt and could not be repaired")

// errReplaced says that another file has the store's name.
var errReplaced = fmt.Errorf("%w: its file was replaced by another while it was in use; stop, and put the right one in its place", ErrDamaged)

// Mend puts a store right that was found hurt while it is open, and goes on
// with it: the file is repaired as by Repair and reopened, in place. Traces in
// the making go on in it, with all of them that this program still remembers.
// The record of the repair is returned; nil when nothing was hurt.
//
// Meanwhile all calls fail with ErrDamaged. When the repair itself fails, and
// the hurt file cannot be used either, they fail with ErrLost from then
// on; Mend can be called again.
func (s *Store) Mend(ctx context.Context) (*Repaired, error) {
	s.mending.Lock()
	defer s.mending.Unlock()
	s.mu.Lock()
	why, closed := s.broken, s.closed
	s.mu.Unlock()
	switch {
	case closed:
		return nil, ErrClosed
	case why == nil || s.readOnly:
		return nil, nil
	}
	if errors.Is(why, errReplaced) {
		why = fmt.Errorf("%w: %w", ErrLost, why) // what stands there now is somebody else's
		s.mu.Lock()
		s.broken = why
		s.mu.Unlock()
		return nil, why
	}
	s.putFileBack()
	if err := s.letGo(ctx); err != nil && ctx.Err() != nil {
		return nil, err // and goes on being hurt
	}
	done, err := s.mend(ctx, why)
	if err != nil {
		err = fmt.Errorf("%w: %w", ErrLost, err)
		s.mu.Lock()
		s.broken = err
		s.mu.Unlock()
	}
	return done, err
}

func (s *Store) mend(ctx context.Context, why error) (done *Repaired, err error) {
	know := knowledge{why: whyOf(why), live: map[ID]*Writer{}}
	s.mu.Lock()
	know.tally = s.tally
	for id, w := range s.open {
		know.live[id] = w
	}
	s.mu.Unlock()
	o := s.o
	o.Repair, o.ProveLater, o.keep = false, false, know.live
	info, err := os.Stat(s.path)
	switch {
	case err == nil && info.Size() > 0:
		_, done, err = repair(ctx, s.path, o, know)
	case err == nil || errors.Is(err, os.ErrNotExist):
		done, err = s.beginAnew(o, know)
	}
	if errors.Is(err, ErrNotAStore) {
		// No mark of ours is left in it.
		if err = os.Rename(s.path, asideName(s.path)); err == nil {
			done, err = s.beginAnew(o, know)
		}
	}
	// What cannot be repaired, on a full disk say, may still be fit to go on with.
	fresh, again := open(s.path, o)
	if again != nil {
		return nil, errors.Join(err, again)
	}
	if err != nil {
		s.log.Error("the store is hurt and could not be repaired; it is used as it is", "path", s.path, "error", err)
	}
	s.adopt(fresh)
	return done, s.goOn(know, done)
}

// putFileBack writes a file that was taken away while it was open again: all of
// it is still there as long as it is open.
func (s *Store) putFileBack() {
	if _, err := os.Lstat(s.path); !errors.Is(err, os.ErrNotExist) {
		return
	}
	s.mu.Lock()
	db, stuck := s.db, s.stuck
	s.mu.Unlock()
	if db == nil || stuck {
		return
	}
	f, err := os.CreateTemp(filepath.Dir(s.path), filepath.Base(s.path)+".repair-*")
	if err == nil {
		defer os.Remove(f.Name())
		err = s.transact(db, false, func(tx *bbolt.Tx) error {
			_, err := tx.WriteTo(f)
			return err
		})
		if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
			err = os.Link(f.Name(), s.path)
		}
	}
	if err != nil {
		s.log.Error("the store's file was taken away and could not be written again", "path", s.path, "error", err)
		return
	}
	s.log.Warn("the store's file was taken away and has been written again", "path", s.path)
}

// whyOf leaves out of an error what is for whoever calls.
func whyOf(err error) string {
	var died *panicked
	if errors.As(err, &died) {
		return fmt.Sprint("the database stopped at ", died.what)
	}
	return err.Error()
}

// beginAnew makes an empty store where there is no file any more, or an empty
// one, and records what is gone.
func (s *Store) beginAnew(o Options, know knowledge) (*Repaired, error) {
	_ = os.Remove(s.markName())
	fresh, err := open(s.path, o)
	if err != nil {
		return nil, err
	}
	defer fresh.Close()
	done := &Repaired{At: time.Now().Round(0), Exact: know.tally.Known,
		Why: "the store's file was emptied, replaced or taken away while it was in use"}
	done.ID = done.At.UTC().Format("20060102-150405.000000")
	was := census{}
	for id, w := range know.live {
		h, n := w.acknowledged()
		was[id] = traceCount{n, true, h.Engine, h.Valve, h.Started}
	}
	done.Was = was.amount(know.tally.Documents)
	done.Was.Traces += know.tally.Traces
	done.Was.Readings += know.tally.Readings
	return done, fresh.update(OpOpen, func(tx *bbolt.Tx) error {
		done.compare(was, census{}, know.tally.Newest, nil)
		return putRepaired(tx, *done)
	})
}

// adopt takes over the database of a store that was opened in place of this one.
func (s *Store) adopt(fresh *Store) {
	fresh.mu.Lock()
	defer fresh.mu.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.db, s.file, s.pageSize, s.written, s.sure = fresh.db, fresh.file, fresh.pageSize, fresh.written, fresh.sure
	s.broken, s.unproved, s.tornHead = nil, false, false
	s.tally = tally{}
}

// goOn lets the traces in the making go on in a store that was repaired, writes
// what of them is remembered, and corrects the record by that.
func (s *Store) goOn(know knowledge, done *Repaired) error {
	highest := uint64(know.tally.Newest)
	var is census
	// Asked for before the transaction: a writer holds its lock while it waits for
	// one.
	acked := map[ID]uint64{}
	for id, w := range know.live {
		highest = max(highest, uint64(id))
		_, acked[id] = w.acknowledged()
		if err := w.goOn(); err != nil {
			s.log.Warn("what is remembered of a trace could not be written yet", "trace", id, "error", err)
		}
	}
	err := s.update(OpOpen, func(tx *bbolt.Tx) error {
		heads := tx.Bucket([]byte(bucketHeads))
		if heads.Sequence() < highest { // numbers are never used again
			if err := heads.SetSequence(highest); err != nil {
				return err
			}
		}
		r := boltRows{tx}
		is = censusOf(r)
		if done == nil {
			return nil
		}
		done.Left = is.amount(countDocuments(r))
		losses := done.Losses[:0]
		for _, l := range done.Losses {
			if was, live := acked[l.Trace]; live {
				l.Left = is[l.Trace].readings
				l.Of, l.Lost = int64(was), int64(was-min(was, l.Left))
			}
			if l.Lost != 0 {
				losses = append(losses, l)
			}
		}
		done.Losses = losses
		return putRepaired(tx, *done)
	})
	if err != nil {
		// A disk that is full: the record says too much rather than too little.
		s.log.Warn("the record of the repair was not corrected", "error", err)
	}
	for id, w := range know.live {
		if is != nil {
			w.knowLost(acked[id] - min(acked[id], is[id].readings))
		}
	}
	return s.recount()
}

// goOn puts a trace in the making back into a store that was repaired: its head,
// and the readings that are remembered because they were not merged yet.
func (w *Writer) goOn() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return nil
	}
	w.doubt = true // so that the next writing takes away what may stand there
	tail, chunks := w.tail, w.tailChunks
	err := w.s.update(OpAppend, func(tx *bbolt.Tx) (err error) {
		if err := tx.Bucket([]byte(bucketOpen)).Put(traceKey(w.id), nil); err != nil {
			return err
		}
		// Where that mark was lost, the repair has made a line of what there was.
		if err := tx.Bucket([]byte(bucketSummaries)).Delete(traceKey(w.id)); err != nil {
			return err
		}
		if err := w.putBack(tx); err != nil {
			return err
		}
		if tail, chunks, err = w.put(tx, nil, false); err != nil {
			return err
		}
		return w.putNotes(tx, nil)
	})
	if err == nil {
		w.doubt, w.tail, w.tailChunks = false, tail, chunks
	}
	return err
}

// knowLost remembers how many readings are gone, of those that were acknowledged.
func (w *Writer) knowLost(n uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.lost, w.head.Lost = n, n // its head is written with it at the end
}

// putBack writes the head of the trace where it is lost.
func (w *Writer) putBack(tx *bbolt.Tx) error {
	before, err := readHead(boltRows{tx}, w.id)
	if err == nil {
		return putHead(tx, w.id, &before, w.head)
	}
	return putHead(tx, w.id, nil, w.head)
}
