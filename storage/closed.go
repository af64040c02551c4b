package storage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/storage/pages"
	"lobescribe/storage/textfile"
)

// Proving every page takes as long as there are traces. A store that was closed
// in order leaves a mark beside it: a file that still is what the mark says was
// sound then, and whoever opens it may prove it again at leisure (ProveLater).
// What the mark says changes with any write to the file, ours or another's. It
// does not change when a disk forgets, which is why it is proved all the same,
// and why the list of free pages is in the sum: a wrong one would have us write
// over what is wanted before the proof is through.
type closedMark struct {
	Bytes   int64  `json:"bytes"`
	Written int64  `json:"written_ns"` // since 1970
	Sum     uint32 `json:"sum"`        // see pages.File.Sum
	// Tx is the last transaction, and Tally what is in the store after it.
	Tx    uint64 `json:"tx,omitempty"`
	Tally tally  `json:"tally,omitzero"`
	// Making are the traces that had not ended, with how many readings of each were
	// acknowledged and not told of as lost; the Tally has none of them.
	Making map[ID]uint64 `json:"making,omitempty"`
}

// making are the traces in the making, without what of them was told of as lost.
func (s *Store) making() map[ID]uint64 {
	s.mu.Lock()
	writers := maps.Clone(s.open)
	s.mu.Unlock()
	n := map[ID]uint64{}
	for id, w := range writers {
		w.mu.Lock()
		n[id] = w.next - min(w.lost, w.next)
		w.mu.Unlock()
	}
	return n
}

func (s *Store) markName() string { return markName(s.path) }

// mostMark bounds the mark in bytes: a line for each trace in the making.
const mostMark = 16 << 20

func markName(path string) string { return path + ".closed" }

// readMark reads the mark beside the store at path; nil when there is none.
func readMark(path string) *closedMark {
	text, err := textfile.Read(markName(path), mostMark)
	var m closedMark
	if err != nil || json.Unmarshal(text, &m) != nil {
		return nil
	}
	return &m
}

// says tells what there was, as "3 traces with 500 readings when it was closed
// on 3 May 2026 11:20"; "" when there was nothing, or there is no mark.
func (m *closedMark) says() string {
	switch {
	case m == nil || m.Tally.Known && m.Tally.Traces+m.Tally.Documents+uint64(len(m.Making)) == 0:
		return ""
	case !m.Tally.Known:
		return fmt.Sprintf("%d bytes when it was closed on %s", m.Bytes, m.at())
	}
	traces, readings := m.Tally.Traces, m.Tally.Readings
	for _, n := range m.Making {
		traces, readings = traces+1, readings+n
	}
	return fmt.Sprintf("%d traces with %d readings when it was closed on %s", traces, readings, m.at())
}

func (m *closedMark) at() string { return time.Unix(0, m.Written).Format("2 January 2006 15:04") }

// markOf describes the file as it is.
func markOf(pf *pages.File, info os.FileInfo) (closedMark, error) {
	sum, err := pf.Sum()
	m := closedMark{Bytes: info.Size(), Written: info.ModTime().UnixNano(), Sum: sum}
	if metas := pf.Metas(); len(metas) > 0 {
		m.Tx = metas[0].Tx
	}
	return m, err
}

// asClosed says whether the file is what the last Close left.
func (s *Store) asClosed(pf *pages.File, info os.FileInfo) bool {
	left := readMark(s.path)
	if left == nil || left.Bytes != info.Size() {
		return false
	}
	is, err := markOf(pf, info)
	if err != nil || left.Written != is.Written || left.Sum != is.Sum {
		return false
	}
	s.tally = left.Tally
	return true
}

// untouched gives a file that was opened and not written to the time back that the
// mark names: on Windows the database sets a file's length before it maps it, to what
// it was, and that counts as a write. Every second start would look at the whole
// store.
func (s *Store) untouched() {
	left := readMark(s.path)
	info, err := os.Stat(s.path)
	if left != nil && err == nil && info.Size() == left.Bytes && info.ModTime().UnixNano() != left.Written {
		_ = os.Chtimes(s.path, time.Time{}, time.Unix(0, left.Written)) // else the next start takes longer
	}
}

// leaveMark is for a store that is sound and about to be let go. Without a mark
// the next opening takes longer, so no error is worth telling.
func (s *Store) leaveMark() {
	// A file system's clock ticks some hundred times a second, and what is
	// written in one tick has one time. This time is of no tick.
	now := time.Now()
	if os.Chtimes(s.path, now, now) != nil {
		return
	}
	f, err := os.Open(s.path)
	if err != nil {
		return
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return
	}
	pf, _ := pages.Open(f, info.Size())
	mark, err := markOf(pf, info)
	if err != nil {
		// A head page was hurt since the last transaction. The mark says which that
		// was, so that the next opening knows when it does not find it.
		mark = closedMark{Written: info.ModTime().UnixNano()}
	}
	mark.Making = s.making()
	s.mu.Lock()
	mark.Tx, mark.Tally = max(mark.Tx, s.sure), s.tally
	s.mu.Unlock()
	text, err := json.Marshal(mark)
	if err == nil {
		err = WriteNew(s.markName(), text)
	}
	if err != nil {
		s.log.Info("the next start will look at the whole store", "path", s.path, "error", err)
	}
}

// WriteNew writes a small file that only its owner may read, in place of what bears
// its name. A link there is taken away and not followed: what it leads to is
// somebody else's.
func WriteNew(name string, text []byte) error {
	if err := removeIfThere(name); err != nil {
		return err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}

// leaveHurtMark says of a store that is let go of hurt what was in it, and which
// transaction was the last: an earlier state must not pass for the last one.
func (s *Store) leaveHurtMark() {
	making := s.making()
	s.mu.Lock()
	mark := closedMark{Written: time.Now().UnixNano(), Tx: s.sure, Tally: s.tally, Making: making}
	s.mu.Unlock()
	if text, err := json.Marshal(mark); err == nil && mark.Tx > 0 {
		_ = WriteNew(s.markName(), text) // without it less is known, no more
	}
}

// Prove proves the pages of a store that was opened with Options.ProveLater,
// while it is in use, unless opening it has. When one is hurt, the store takes
// no more from then on, and Prove returns why: open it again, with Repair.
func (s *Store) Prove(ctx context.Context) error {
	s.mu.Lock()
	unproved := s.unproved
	s.mu.Unlock()
	if !unproved {
		return nil
	}
	return s.prove(ctx)
}

// prove proves the pages, also those of a store that was proved before.
func (s *Store) prove(ctx context.Context) error {
	db, err := s.enter()
	if err != nil {
		return err
	}
	defer s.leave()
	f, err := os.Open(s.path)
	if err != nil {
		return fmt.Errorf("proving the store %s: %w", s.path, err)
	}
	defer f.Close()
	var hurts []*pages.Hurt
	look := func(tx *bbolt.Tx) error {
		buckets, began := map[string]bool{}, time.Now()
		_, w, err := walkOf(f, tx, func(it pages.Item) bool {
			buckets[it.Bucket] = true
			s.givesWay(ctx, &began)
			return ctx.Err() == nil
		})
		if w != nil {
			if hurts = w.Hurts; len(hurts) == 0 && ctx.Err() == nil {
				hurts = missingBuckets(buckets)
			}
		}
		return err
	}
	for range 20 {
		if err = s.transact(db, false, look); !errors.Is(err, errTooLate) {
			break
		}
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err == nil && len(hurts) > 0 {
		err = fmt.Errorf("%w (%w)", ErrDamaged, hurts[0])
	}
	if err != nil {
		err = fmt.Errorf("proving the store %s: %w", s.path, err)
	}
	if err == nil {
		s.mu.Lock()
		s.unproved = false
		s.mu.Unlock()
	} else if errors.Is(err, ErrDamaged) {
		_ = os.Remove(s.markName())
		s.fail(err)
	}
	return err
}
