package storage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/storage/pages"
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
}

func (s *Store) markName() string { return s.path + ".closed" }

// markOf describes the file as it is.
func markOf(pf *pages.File, info os.FileInfo) (closedMark, error) {
	sum, err := pf.Sum()
	return closedMark{Bytes: info.Size(), Written: info.ModTime().UnixNano(), Sum: sum}, err
}

// asClosed says whether the file is what the last Close left.
func (s *Store) asClosed(pf *pages.File, info os.FileInfo) bool {
	text, err := os.ReadFile(s.markName())
	if err != nil {
		return false
	}
	var left closedMark
	if json.Unmarshal(text, &left) != nil || left.Bytes != info.Size() {
		return false
	}
	is, err := markOf(pf, info)
	return err == nil && left == is
}

// leaveMark is for a store that is sound and about to be let go. Without a mark
// the next opening takes longer, so no error is worth telling.
func (s *Store) leaveMark() {
	// A file system's clock ticks some hundred times a second, and what is
	// written in one tick bears one time. This time is of no tick.
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
	pf, err := pages.Open(f, info.Size())
	if err != nil {
		return
	}
	mark, err := markOf(pf, info)
	if err != nil {
		return
	}
	text, err := json.Marshal(mark)
	if err == nil {
		err = os.WriteFile(s.markName(), text, 0o600)
	}
	if err != nil {
		s.log.Info("the next start will look at the whole store", "path", s.path, "error", err)
	}
}

// Prove proves the pages of a store that was opened with Options.ProveLater,
// while it is in use, unless opening it has. When one is hurt, the store takes
// no more from then on, and Prove returns why: open it anew, with Repair.
func (s *Store) Prove(ctx context.Context) error {
	s.mu.Lock()
	unproved := s.unproved
	s.mu.Unlock()
	if !unproved {
		return nil
	}
	if err := s.usable(); err != nil {
		return err
	}
	f, err := os.Open(s.path)
	if err != nil {
		return fmt.Errorf("proving the store %s: %w", s.path, err)
	}
	defer f.Close()
	var hurts []*pages.Hurt
	look := func() error {
		return s.db.View(func(tx *bbolt.Tx) error {
			_, w, err := walkOf(f, tx, func(pages.Item) bool { return ctx.Err() == nil })
			if w != nil {
				hurts = w.Hurts
			}
			return err
		})
	}
	for range 20 {
		if err = guard(look); !errors.Is(err, errTooLate) {
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
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case err == nil:
		s.unproved = false
	case errors.Is(err, ErrDamaged):
		_ = os.Remove(s.markName())
		s.broken = err
	}
	return err
}
