package storage

import (
	"bytes"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"

	"lobescribe/capture/lift"
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// Query says which traces to list. The zero value means all of them.
type Query struct {
	Engine, Valve string // "" for any
	Before        ID     // only traces with a smaller number; 0 for the newest
	Limit         int    // at most so many; 0 for no limit
	Counting      bool   // only those that nobody has put away
}

// Traces lists traces, newest first. With a Limit its cost does not depend on
// how many traces there are. A trace whose line is damaged is listed all the
// same, with Summary.Damaged set.
func (s *Store) Traces(q Query) ([]Summary, error) {
	out := []Summary{}
	err := s.view(func(r rows) error {
		add := func(id ID) bool {
			line := s.lineOf(r, id)
			if q.Counting && line.PutAway != "" {
				return true
			}
			out = append(out, line)
			return q.Limit <= 0 || len(out) < q.Limit
		}
		if q.Engine == "" && q.Valve == "" {
			var below []byte
			if q.Before != 0 {
				below = traceKey(q.Before)
			}
			r.descend(bucketHeads, below, func(k, _ []byte) bool {
				id, ok := splitTraceKey(k)
				return !ok || add(id)
			})
			return nil
		}
		prefix := indexPrefix(q.Engine, q.Valve)
		below := traceKey(q.Before)
		if q.Before == 0 {
			below = bytes.Repeat([]byte{0xff}, 9)
		}
		r.descend(bucketIndex, append(bytes.Clone(prefix), below...), func(k, _ []byte) bool {
			rest, ok := bytes.CutPrefix(k, prefix)
			if !ok {
				return false
			}
			id, ok := splitTraceKey(rest)
			return !ok || add(id)
		})
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("listing the traces: %w", err)
	}
	return out, nil
}

// Summary returns the line of one trace.
func (s *Store) Summary(id ID) (Summary, error) {
	var sum Summary
	err := s.view(func(r rows) error {
		if _, err := readHead(r, id); errors.Is(err, ErrNotFound) {
			return err
		}
		sum = s.lineOf(r, id)
		return nil
	})
	return sum, err
}

// lineOf returns the stored summary of a trace, or makes it: for a trace in
// the making, whose chunks are few or large, and for one whose line is hurt.
func (s *Store) lineOf(r rows, id ID) Summary {
	sum, stored := storedLine(r, id)
	if !stored {
		sum = summarise(r, id)
		sum.Recording, sum.CutShort = s.unended(r, id, sum.CutShort)
	}
	// Not stored: the name says it all, and lines of older versions lack it.
	v, _ := valve.Parse(sum.Valve)
	sum.Cylinder, sum.Kind = v.Cylinder, v.Kind
	return sum
}

func storedLine(r rows, id ID) (sum Summary, ok bool) {
	key := traceKey(id)
	if r.get(bucketOpen, key) != nil {
		return sum, false // it grows still; a repair may have made a line of what there was
	}
	v := r.get(bucketSummaries, key)
	ok = v != nil && unseal(sealSummary, key, v, &sum) == nil && sum.ID == id
	return sum, ok
}

// unended tells a trace in the making from one that was and that nobody has
// marked as cut short yet: the store is open for reading only, or its disk was
// too full to write the mark.
func (s *Store) unended(r rows, id ID, marked bool) (recording, cutShort bool) {
	if r.get(bucketOpen, traceKey(id)) == nil {
		return false, marked
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	_, recording = s.open[id]
	return recording, !recording
}

// measureExtent adds up the heads of a trace's chunks.
func measureExtent(r rows, id ID) extent {
	var e extent
	next := uint64(0)
	one := func(first uint64, v []byte) bool {
		h, err := chunk.Peek(v)
		if err == nil && (ID(h.Trace) != id || h.First != first) {
			err = errors.New("it belongs elsewhere")
		}
		if err != nil {
			e.damage = append(e.damage, &Damage{Trace: id, Part: PartReadings, First: first, Count: -1, Why: err.Error()})
			return true
		}
		if first+uint64(h.Count) <= next {
			return true // a piece that a merged chunk holds already
		}
		if e.readings == 0 || h.From < e.first {
			e.first = h.From
		}
		e.last = max(e.last, h.Until)
		e.readings += first + uint64(h.Count) - max(first, next)
		e.has |= h.Has
		next = first + uint64(h.Count)
		return true
	}
	ofTrace(r, bucketChunks, id, 0, one)
	ofTrace(r, bucketTail, id, next, one)
	e.end = next
	return e
}

// PutFindings stores what was found in a trace, for lists. It replaces what
// was stored before. The readings stay; findings can always be made again.
func (s *Store) PutFindings(id ID, f lift.Findings) error {
	err := s.update(OpFindings, func(tx *bbolt.Tx) error {
		r := boltRows{tx}
		if _, err := readHead(r, id); errors.Is(err, ErrNotFound) {
			return err
		}
		key := traceKey(id)
		v, err := seal(sealFindings, key, f)
		if err != nil {
			return err
		}
		news := !bytes.Equal(v, r.get(bucketFindings, key))
		if err := tx.Bucket([]byte(bucketFindings)).Put(key, v); err != nil {
			return err
		}
		if r.get(bucketOpen, key) != nil {
			return nil // the line is written when the trace ends
		}
		if err := s.putSummary(tx, id); err != nil || !news {
			return err // looking at a trace again is nothing to tell the shop
		}
		return s.enqueue(tx, ErrandTrace, id.String(), false)
	})
	if err != nil {
		return fmt.Errorf("storing the findings of trace %s: %w", id, advise(err))
	}
	return nil
}

// Findings returns what was stored by PutFindings; ErrNotFound when nothing
// was. A *Damage says that it does not read: make it again from the readings.
func (s *Store) Findings(id ID) (lift.Findings, error) {
	var f lift.Findings
	err := s.view(func(r rows) (err error) {
		f, err = readFindings(r, id)
		return err
	})
	return f, err
}

func readFindings(r rows, id ID) (lift.Findings, error) {
	var f lift.Findings
	key := traceKey(id)
	v := r.get(bucketFindings, key)
	if v == nil {
		return f, fmt.Errorf("findings of trace %s: %w", id, ErrNotFound)
	}
	if err := unseal(sealFindings, key, v, &f); err != nil {
		return lift.Findings{}, &Damage{Trace: id, Part: PartFindings, Derived: true, Why: err.Error()}
	}
	return f, nil
}

// Relabel says again what a trace is of. The readings are not touched. A trace
// in the making is relabelled as well.
func (s *Store) Relabel(id ID, engine, valve, trial, remark string) error {
	return s.Amend(id, func(h *Head) { h.Engine, h.Valve, h.Trial, h.Remark = engine, valve, trial, remark })
}

// Amend says again what a trace is of, or what of it counts. The readings are
// not touched, and what only the store knows stays as it was. A trace in the
// making is amended as well. Its findings are to be made again by the caller
// where they hang on the change.
func (s *Store) Amend(id ID, change func(*Head)) error {
	label := func(h *Head) {
		was := *h
		change(h)
		h.Started, h.CutShort, h.Lost = was.Started, was.CutShort, was.Lost
	}
	s.mu.Lock()
	w := s.open[id]
	s.mu.Unlock()
	if w != nil {
		if err := w.Amend(label); !errors.Is(err, ErrEnded) {
			return err
		}
	}
	err := s.update(OpRelabel, func(tx *bbolt.Tx) error {
		h, err := readHead(boltRows{tx}, id)
		var hurt *Damage
		if err != nil && !errors.As(err, &hurt) {
			return err
		}
		label(&h)
		if err := rewriteHead(tx, id, h); err != nil {
			return err
		}
		if err := s.putSummary(tx, id); err != nil {
			return err
		}
		return s.enqueue(tx, ErrandTrace, id.String(), false)
	})
	if err != nil {
		return fmt.Errorf("amending trace %s: %w", id, advise(err))
	}
	return nil
}

// Load returns a whole trace. When some of it is damaged, everything else is
// returned together with an error that joins a *Damage for each loss.
func (s *Store) Load(id ID) (Head, measure.Trace, error) {
	return s.LoadSpan(id, minStamp, maxStamp)
}
