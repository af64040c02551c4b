package storage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"go.etcd.io/bbolt"
)

// Backup writes a copy of the store to w, as it stands at one moment, while
// recording goes on. The copy is itself a store: a trace in the making is in
// it as far as it was acknowledged, and will be marked as cut short.
//
// The file grows while a backup is under way, because nothing that the copy
// still needs can be written over; it is reused afterwards.
func (s *Store) Backup(ctx context.Context, w io.Writer) (n int64, err error) {
	db, err := s.enter()
	if err != nil {
		return 0, err
	}
	defer s.leave()
	if db == nil {
		return 0, fmt.Errorf("backing up %s: %w; copy the file itself, or repair it first", s.path, ErrDamaged)
	}
	if s.fault != nil {
		if err := s.fault(OpBackup); err != nil {
			return 0, fmt.Errorf("backing up %s: %w", s.path, err)
		}
	}
	err = s.noticing(s.transact(db, false, func(tx *bbolt.Tx) (err error) {
		n, err = tx.WriteTo(&copying{ctx: ctx, w: w, mayHurry: s.idle, sound: s.sound})
		return err
	}))
	if err != nil {
		return n, fmt.Errorf("backing up %s: %w", s.path, advise(err))
	}
	return n, nil
}

// idle says that nothing is being recorded.
func (s *Store) idle() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.open) == 0
}

// sound returns why the store takes nothing more.
func (s *Store) sound() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.broken
}

// While something is recorded a copy takes its time: at the full speed of
// memory it would take a processor and the disk from whoever records. At this
// pace a gigabyte takes a minute.
const (
	copyPerSecond = 16 << 20
	copyAhead     = 10 * time.Millisecond // by which it may be early: sleeping shorter is no rest
)

// copying is a writer that stops when its context does, and keeps the pace.
type copying struct {
	ctx      context.Context
	w        io.Writer
	mayHurry func() bool
	sound    func() error  // what has been found hurt since is not worth copying
	debt     time.Duration // how far it is ahead of the pace
	last     time.Time
}

func (c *copying) Write(b []byte) (int, error) {
	if c.ctx.Err() != nil {
		return 0, context.Cause(c.ctx)
	}
	if err := c.sound(); err != nil {
		return 0, err
	}
	n, err := c.w.Write(b)
	if err != nil || c.mayHurry() {
		c.debt = 0
		return n, err
	}
	now := time.Now()
	c.debt = max(0, c.debt-now.Sub(c.last)) + time.Duration(n)*time.Second/copyPerSecond
	c.last = now
	if c.debt > copyAhead {
		select {
		case <-time.After(c.debt):
		case <-c.ctx.Done():
			return n, context.Cause(c.ctx)
		}
	}
	return n, nil
}

// flushing writes a file that is flushed on the way: in the end there would be
// so much to flush at once that whoever records waits behind it.
type flushing struct {
	f       *os.File
	pending int
}

const flushEvery = 4 << 20

func (f *flushing) Write(b []byte) (int, error) {
	n, err := f.f.Write(b)
	if f.pending += n; err == nil && f.pending >= flushEvery {
		f.pending = 0
		err = f.f.Sync()
	}
	return n, err
}

// BackupFile writes a backup to path: into a file beside it, which is flushed,
// checked and renamed, so that path never holds half a backup. A file that is
// there already is refused with ErrExists unless overwrite is set.
func (s *Store) BackupFile(ctx context.Context, path string, overwrite bool) (n int64, err error) {
	if same(path, s.path) {
		return 0, fmt.Errorf("backing up %s: %s is the store itself; name another file", s.path, path)
	}
	if _, err := os.Lstat(path); err == nil && !overwrite {
		return 0, fmt.Errorf("backing up %s: %s: %w; name another file, or say that it may be overwritten", s.path, path, ErrExists)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("backing up %s: %w", s.path, err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part-*")
	if err != nil {
		return 0, fmt.Errorf("backing up %s: %w", s.path, advise(err))
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if n, err = s.Backup(ctx, &flushing{f: f}); err != nil {
		return n, err
	}
	if err = f.Sync(); err != nil {
		return n, fmt.Errorf("backing up %s: %w", s.path, advise(err))
	}
	if err = checkPages(f, n); err != nil {
		return n, fmt.Errorf("backing up %s: the copy does not read: %w", s.path, err)
	}
	if err = f.Close(); err != nil {
		return n, fmt.Errorf("backing up %s: %w", s.path, advise(err))
	}
	if overwrite {
		err = os.Rename(f.Name(), path)
	} else {
		err = renameNew(f.Name(), path)
	}
	if err == nil {
		err = syncFolder(filepath.Dir(path))
	}
	if err != nil {
		return n, fmt.Errorf("backing up %s: %w", s.path, err)
	}
	return n, nil
}

// renameNew renames without ever replacing a file that appeared meanwhile; a
// file system that knows no hard links gets a plain rename.
func renameNew(from, to string) error {
	err := os.Link(from, to)
	switch {
	case err == nil:
		return os.Remove(from)
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s: %w", to, ErrExists)
	}
	return os.Rename(from, to)
}

func same(a, b string) bool {
	ia, err := os.Stat(a)
	if err != nil {
		return false
	}
	ib, err := os.Stat(b)
	return err == nil && os.SameFile(ia, ib)
}
