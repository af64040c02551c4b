package storage

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"lobescribe/storage/pages"
)

// enter counts a caller who is about to use the database, so that Mend and
// Close know when nobody does; leave ends it. While the store is hurt nobody
// gets in.
func (s *Store) enter() (db *bbolt.DB, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil, ErrClosed
	}
	if s.broken != nil {
		if s.tended && !errors.Is(s.broken, ErrLost) {
			return nil, fmt.Errorf("%w; it is being repaired", s.broken)
		}
		return nil, s.broken
	}
	s.users++
	return s.db, nil
}

// asked notes that somebody uses the store who waits for it, which the proof of it
// does not.
func (s *Store) asked() { s.askedAt.Store(time.Now().UnixNano()) }

// givesWay lets others go first: whoever records, and whoever asked within the last
// second, who will ask again. It is called again and again between pieces of a long
// work, of which one began at *began, and waits as long as the piece took.
func (s *Store) givesWay(ctx context.Context, began *time.Time) {
	const piece = 5 * time.Millisecond
	took := time.Since(*began)
	if took < piece {
		return
	}
	if !s.idle() || time.Since(time.Unix(0, s.askedAt.Load())) < time.Second {
		select {
		case <-time.After(took):
		case <-ctx.Done():
		}
	}
	*began = time.Now()
}

func (s *Store) leave() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.users--; s.users == 0 && s.unused != nil {
		close(s.unused)
		s.unused = nil
	}
}

// left waits until nobody uses the database any more. The store must be closed
// or broken, so that nobody new comes in.
func (s *Store) left(ctx context.Context) error {
	s.mu.Lock()
	if s.users == 0 {
		s.mu.Unlock()
		return nil
	}
	if s.unused == nil {
		s.unused = make(chan struct{})
	}
	unused := s.unused
	s.mu.Unlock()
	select {
	case <-unused:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// fail notes that the store is hurt: it takes and gives no more until Mend has
// put it right, which whoever tends it does.
func (s *Store) fail(err error) {
	s.mu.Lock()
	first := s.broken == nil && !s.closed
	if first {
		s.broken = err
	}
	s.mu.Unlock()
	if !first {
		return
	}
	var died *panicked
	if errors.As(err, &died) {
		s.log.Error("the store is hurt", "path", s.path, "error", err, "stack", died.stack)
	} else {
		s.log.Error("the store is hurt", "path", s.path, "error", err)
	}
	s.alarm()
}

// alarm wakes whoever tends the store.
func (s *Store) alarm() {
	select {
	case s.alarms <- struct{}{}:
	default:
	}
}

// errBack says that the file went back to an earlier state.
var errBack = fmt.Errorf("%w: the head page that was written last does not read, so that the file shows an earlier state", ErrDamaged)

// transact runs fn in one transaction, as bbolt's Update and View do, and makes
// an error of a panic. When the panic has left the database's locks held the
// store is stuck: it cannot be closed, only let go of.
//
// bbolt takes the older head page when the newer does not read. That is right
// after a power cut. In a store that is open it would build on pages that were
// given up since, so the number of each transaction is held against the one
// before.
func (s *Store) transact(db *bbolt.DB, writable bool, fn func(*bbolt.Tx) error) error {
	if writable {
		s.writing.Lock()
		defer s.writing.Unlock()
	}
	s.mu.Lock()
	last, file, size := s.written, s.file, s.pageSize
	s.mu.Unlock()
	if err := headsRead(file, size); err != nil {
		return err // beginning would stop half way, with locks held
	}
	if writable {
		if err := pages.FreeInside(file, size); err != nil {
			return fmt.Errorf("%w: %w", ErrDamaged, err)
		}
	}
	ended, tried := false, false
	var at uint64
	err := guard(func() error {
		tx, err := db.Begin(writable)
		if err != nil {
			ended = true
			return err
		}
		at = uint64(tx.ID())
		err = guard(func() error {
			if last != 0 && (at < last || writable && at != last+1) {
				return errBack
			}
			if err := fn(tx); err != nil || !writable {
				return err
			}
			tried = true
			return tx.Commit()
		})
		// A transaction that Commit was tried on has ended, unless that panicked.
		back := tx.Rollback()
		ended = back == nil || errors.Is(back, berrors.ErrTxClosed)
		return err
	})
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case !ended:
		s.stuck = true
		if s.unused != nil { // who waits for its locks waits for ever
			close(s.unused)
			s.unused = nil
		}
	case tried && err != nil:
		s.written, s.tally.Known = 0, false // it may be on disk or not
	case tried:
		s.written, s.sure = at, at
	}
	return err
}

// headsRead says that at least one of the head pages is whole. One that is
// being written does not read for a moment.
func headsRead(f *os.File, pageSize int64) error {
	for range 3 {
		if pages.Heads(f, pageSize) > 0 {
			return nil
		}
	}
	return fmt.Errorf("%w: neither of its two head pages reads any more", ErrDamaged)
}

// topReads says whether the database may be asked for its buckets; see
// [pages.TopReads]. Whoever walks through the pages first need not ask.
func (s *Store) topReads() error {
	s.mu.Lock()
	file, size := s.file, s.pageSize
	s.mu.Unlock()
	if err := pages.TopReads(file, size); err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return nil
}
