package storage

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"sort"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

const (
	minStamp measure.Stamp = math.MinInt64
	maxStamp measure.Stamp = math.MaxInt64
)

// LoadSpan returns the readings and notes of a trace with from <= time <=
// until; it reads only the chunks that it needs, but proves the checksum of
// all on the way. A gap belongs to the span when it reaches into it. Damage
// is reported as by Load, within the span.
func (s *Store) LoadSpan(id ID, from, until measure.Stamp) (Head, measure.Trace, error) {
	var t measure.Trace
	var errs []error
	h, err := s.Head(id)
	var hurt *Damage
	if errors.As(err, &hurt) {
		errs = append(errs, err)
	} else if err != nil {
		return h, t, err
	}
	t.Resolution, t.AngleStep = h.Resolution, h.AngleStep
	if from == minStamp && until == maxStamp {
		// One allocation rather than a dozen copies of a long trace. A damaged
		// count cannot make it large: it is the sum over chunks that are there.
		err := s.view(func(r rows) error {
			t.Readings = make([]measure.Reading, 0, measureExtent(r, id).readings)
			return nil
		})
		if err != nil {
			return h, t, err
		}
	}
	for batch, err := range s.Readings(id, from, until) {
		if err != nil {
			errs = append(errs, err)
			continue
		}
		t.Readings = append(t.Readings, batch...)
	}
	notes, err := s.notes(id, from, until)
	t.Notes = notes
	if err != nil {
		errs = append(errs, err)
	}
	return h, t, errors.Join(errs...)
}

// Head returns the head of a trace: ErrNotFound when there is no such trace, a
// *Damage when there is and only its head does not read.
func (s *Store) Head(id ID) (Head, error) {
	var h Head
	err := s.view(func(r rows) (err error) {
		if h, err = readHead(r, id); err == nil {
			_, h.CutShort = s.unended(r, id, h.CutShort)
		}
		return err
	})
	return h, err
}

// Readings yields the readings of a trace with from <= time <= until, batch by
// batch in order, in bounded memory; a batch is valid until the next. What is
// damaged yields a *Damage as an error, and the rest follows. Any other error
// ends it.
//
// No state of the store is held between batches, so the loop may take its time
// while the trace, too, goes on growing.
func (s *Store) Readings(id ID, from, until measure.Stamp) iter.Seq2[[]measure.Reading, error] {
	fetch := func(next uint64) (f fetched, err error) {
		err = s.view(func(r rows) error {
			if f = fetchNext(r, id, next); f.raw != nil {
				f.raw = append([]byte{}, f.raw...)
			}
			return nil
		})
		return f, err
	}
	return readings(id, fetch, from, until)
}

// fetched is a chunk and its first reading, or else where the trace ends: both as one
// transaction has them, for the trace may grow and end between two.
type fetched struct {
	first uint64
	raw   []byte // nil: there is none
	end   storedEnd
}

func fetchNext(r rows, id ID, next uint64) (f fetched) {
	if f.first, f.raw = nextChunk(r, id, next); f.raw == nil {
		f.end = endOf(r, id)
	}
	return f
}

// readings walks the chunks of a trace, which fetch gives, and finds holes by
// their positions: between chunks, and behind the last by where the trace ends.
func readings(id ID, fetch func(next uint64) (fetched, error), from, until measure.Stamp) iter.Seq2[[]measure.Reading, error] {
	return func(yield func([]measure.Reading, error) bool) {
		w := walk{id: id, from: from, until: until, yield: yield}
		for {
			f, err := fetch(w.next)
			if err != nil {
				yield(nil, err)
				return
			}
			if f.raw == nil {
				w.end(f.end)
				return
			}
			if !w.chunk(f.first, f.raw) {
				return
			}
		}
	}
}

// walk is on its way through the chunks of a trace.
type walk struct {
	id          ID
	from, until measure.Stamp
	yield       func([]measure.Reading, error) bool
	dec         chunk.Decoder
	buf         []measure.Reading
	next        uint64 // the reading that is to come
	last        measure.Stamp
	hole        *Damage // damage whose far end is not yet known
}

// damaged begins damage, unless some is under way; hole says that readings are missing.
func (w *walk) damaged(first uint64, hole bool, why string) {
	if w.hole == nil {
		w.hole = &Damage{Trace: w.id, Part: PartReadings, First: first, From: w.last, Hole: hole, Why: why}
	}
}

// report tells the damage whose far end is known now; false where nobody wants more.
func (w *walk) report() bool {
	d := w.hole
	w.hole = nil
	return d.Until < w.from || d.From > w.until || w.yield(nil, d)
}

// end says what is missing at the end of the trace.
func (w *walk) end(end storedEnd) {
	if w.next < end.readings {
		w.damaged(w.next, true, "they are missing")
	} else if end.lost {
		w.damaged(w.next, true, "its summary is lost, so nobody can tell whether there were more")
	}
	if w.hole == nil {
		return
	}
	w.hole.Count, w.hole.Until = -1, w.hole.From
	if end.readings > w.hole.First {
		w.hole.Count, w.hole.Until = int64(end.readings-w.hole.First), max(end.at, w.hole.From)
	}
	w.report()
}

// chunk yields the readings of the next chunk; false where nobody wants more.
func (w *walk) chunk(first uint64, raw []byte) bool {
	h, err := chunk.Peek(raw)
	if err == nil && (ID(h.Trace) != w.id || h.First != first) {
		err = fmt.Errorf("%w: it belongs to reading %d of trace %d", chunk.ErrDamaged, h.First, h.Trace)
	}
	if err == nil && h.Until >= w.from && h.From <= w.until {
		w.buf, _, err = w.dec.Append(w.buf[:0], raw)
	}
	if err != nil {
		w.damaged(max(first, w.next), false, err.Error())
		w.next = max(first, w.next) + 1
		return true
	}
	if first > w.next {
		w.damaged(w.next, true, "they are missing")
	}
	// A damaged merged chunk may hide behind whole small ones.
	if w.hole != nil && first > w.hole.First {
		w.hole.Count, w.hole.Until = int64(first-w.hole.First), h.From
		if !w.report() {
			return false
		}
	}
	w.hole = nil
	if h.From > w.until {
		return false
	}
	if h.Until >= w.from {
		part := w.buf
		if first < w.next {
			part = part[w.next-first:] // a merged chunk took the place of ones already read
		}
		if part = within(part, w.from, w.until); len(part) > 0 && !w.yield(part, nil) {
			return false
		}
	}
	w.next, w.last = first+uint64(h.Count), h.Until
	return true
}

// within cuts readings, in order of time, down to a span.
func within(rs []measure.Reading, from, until measure.Stamp) []measure.Reading {
	lo := sort.Search(len(rs), func(i int) bool { return rs[i].At >= from })
	hi := sort.Search(len(rs), func(i int) bool { return rs[i].At > until })
	if hi < lo { // only when a chunk's readings are not in order, which no writer makes
		return nil
	}
	return rs[lo:hi]
}

// nextChunk returns the chunk that holds reading next of a trace, or else the
// first one after it; nil when there is none.
func nextChunk(r rows, id ID, next uint64) (first uint64, raw []byte) {
	// A chunk that began earlier may reach over next: it was merged since.
	if f, v, ok := lastOfTrace(r, bucketChunks, id, next+1); ok && f < next {
		if h, err := chunk.Peek(v); err == nil && h.First == f && f+uint64(h.Count) > next {
			return f, v
		}
	}
	for _, bucket := range []string{bucketChunks, bucketTail} {
		ofTrace(r, bucket, id, next, func(f uint64, v []byte) bool {
			if raw == nil || f < first {
				first, raw = f, v
				if raw == nil {
					raw = []byte{} // there, and nothing in it
				}
			}
			return false
		})
	}
	return first, raw
}

// storedEnd is where a trace should end.
type storedEnd struct {
	readings uint64        // as the summary of an ended trace counts them
	at       measure.Stamp // about when the last of them was
	lost     bool          // the trace was ended and its summary is gone
}

func endOf(r rows, id ID) storedEnd {
	key := traceKey(id)
	var sum Summary
	if v := r.get(bucketSummaries, key); v != nil && unseal(sealSummary, key, v, &sum) == nil && sum.ID == id {
		return storedEnd{readings: sum.Readings, at: sum.Seconds}
	}
	return storedEnd{lost: r.get(bucketOpen, key) == nil}
}

// Notes returns the notes of a trace. Damage is reported as by Load.
func (s *Store) Notes(id ID) ([]measure.Note, error) { return s.notes(id, minStamp, maxStamp) }

// notes returns the notes of a trace that reach into a span.
func (s *Store) notes(id ID, from, until measure.Stamp) ([]measure.Note, error) {
	var out []measure.Note
	var errs []error
	err := s.view(func(r rows) error {
		out, errs = readNotes(r, id)
		return nil
	})
	out = slices.DeleteFunc(out, func(n measure.Note) bool { return max(n.At, n.Until) < from || n.At > until })
	return out, errors.Join(append(errs, err)...)
}

func readNotes(r rows, id ID) (out []measure.Note, errs []error) {
	next, whole := uint64(0), true
	ofTrace(r, bucketNotes, id, 0, func(first uint64, v []byte) bool {
		var notes []measure.Note
		if err := unseal(sealNotes, spanKey(id, first), v, &notes); err != nil {
			errs = append(errs, &Damage{Trace: id, Part: PartNotes, First: first, Count: -1, Why: err.Error()})
			whole = false
			return true
		}
		if first > next && whole {
			errs = append(errs, &Damage{Trace: id, Part: PartNotes, First: next, Count: int64(first - next), Hole: true, Why: "they are missing"})
		}
		next, whole = first+uint64(len(notes)), true
		out = append(out, notes...)
		return true
	})
	return out, errs
}
