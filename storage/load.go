package storage

import (
	"bytes"
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
		h, err = readHead(r, id)
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
	return func(yield func([]measure.Reading, error) bool) {
		var (
			dec  chunk.Decoder
			buf  []measure.Reading
			next uint64
			last measure.Stamp
			hole *Damage // damage whose far end is not yet known
		)
		report := func() bool {
			d := hole
			hole = nil
			return d.Until < from || d.From > until || yield(nil, d)
		}
		for {
			first, raw, err := s.nextChunk(id, next)
			if err != nil {
				yield(nil, err)
				return
			}
			if raw == nil {
				total, until := s.storedExtent(id)
				if hole == nil && next < total {
					hole = &Damage{Trace: id, Part: PartReadings, First: next, From: last, Why: "they are missing"}
				}
				if hole != nil {
					hole.Count, hole.Until = -1, hole.From
					if total > hole.First {
						hole.Count, hole.Until = int64(total-hole.First), until
					}
					report()
				}
				return
			}
			h, err := chunk.Peek(raw)
			if err == nil && (ID(h.Trace) != id || h.First != first) {
				err = fmt.Errorf("%w: it belongs to reading %d of trace %d", chunk.ErrDamaged, h.First, h.Trace)
			}
			if err == nil && h.Until >= from && h.From <= until {
				buf, _, err = dec.Append(buf[:0], raw)
			}
			if err != nil {
				if hole == nil {
					hole = &Damage{Trace: id, Part: PartReadings, First: max(first, next), From: last, Why: err.Error()}
				}
				next = first + 1
				continue
			}
			if hole == nil && first > next {
				hole = &Damage{Trace: id, Part: PartReadings, First: next, From: last, Why: "they are missing"}
			}
			if hole != nil {
				hole.Count = int64(first - hole.First)
				hole.Until = h.From
				if !report() {
					return
				}
			}
			if h.From > until {
				return
			}
			if h.Until >= from {
				part := buf
				if first < next {
					part = part[next-first:] // a merged chunk took the place of ones already read
				}
				if part = within(part, from, until); len(part) > 0 && !yield(part, nil) {
					return
				}
			}
			next, last = first+uint64(h.Count), h.Until
		}
	}
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

// nextChunk returns a copy of the chunk that holds reading next of a trace, or
// else the first one after it; nil when there is none.
func (s *Store) nextChunk(id ID, next uint64) (first uint64, raw []byte, err error) {
	err = s.view(func(r rows) error {
		// A chunk that began earlier may reach over next: it was merged since.
		if f, v, ok := lastOfTrace(r, bucketChunks, id, next+1); ok && f < next {
			if h, err := chunk.Peek(v); err == nil && h.First == f && f+uint64(h.Count) > next {
				first, raw = f, bytes.Clone(v)
				return nil
			}
		}
		for _, bucket := range []string{bucketChunks, bucketTail} {
			ofTrace(r, bucket, id, next, func(f uint64, v []byte) bool {
				if raw == nil || f < first {
					first, raw = f, v
				}
				return false
			})
		}
		if raw != nil {
			raw = append([]byte{}, raw...)
		}
		return nil
	})
	return first, raw, err
}

// storedExtent returns how many readings the summary of an ended trace counts
// and about when the last of them was; noughts when there is no summary.
func (s *Store) storedExtent(id ID) (readings uint64, until measure.Stamp) {
	key := traceKey(id)
	_ = s.view(func(r rows) error {
		var sum Summary
		if v := r.get(bucketSummaries, key); v != nil && unseal(sealSummary, key, v, &sum) == nil && sum.ID == id {
			readings, until = sum.Readings, sum.Seconds
		}
		return nil
	})
	return readings, until
}

// notes returns the notes of a trace that reach into a span.
func (s *Store) notes(id ID, from, until measure.Stamp) ([]measure.Note, error) {
	var out []measure.Note
	var errs []error
	err := s.view(func(r rows) error {
		next := uint64(0)
		ofTrace(r, bucketNotes, id, 0, func(first uint64, v []byte) bool {
			var notes []measure.Note
			if err := unseal(sealNotes, spanKey(id, first), v, &notes); err != nil {
				errs = append(errs, &Damage{Trace: id, Part: PartNotes, First: first, Count: -1, Why: err.Error()})
				return true
			}
			if first > next && len(errs) == 0 {
				errs = append(errs, &Damage{Trace: id, Part: PartNotes, First: next, Count: int64(first - next), Why: "they are missing"})
			}
			next = first + uint64(len(notes))
			out = append(out, notes...)
			return true
		})
		return nil
	})
	out = slices.DeleteFunc(out, func(n measure.Note) bool { return max(n.At, n.Until) < from || n.At > until })
	return out, errors.Join(append(errs, err)...)
}
