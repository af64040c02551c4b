package storage

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// Op names what a store is about to do, for Options.Fault.
type Op string

// The operations that can be made to fail.
const (
	OpBegin    Op = "begin"
	OpAppend   Op = "append"
	OpAmend    Op = "amend"
	OpEnd      Op = "end"
	OpDiscard  Op = "discard"
	OpFindings Op = "findings"
	OpRelabel  Op = "relabel"
	OpDocument Op = "document"
	OpBackup   Op = "backup"
	OpOpen     Op = "open"
)

// pageBytes is the size of a page in the file, also where the system's own are
// larger: files travel, and larger pages waste more of a short trace's last.
const pageBytes = 4096

// Options says how a store is opened. The zero value is right for a daemon.
type Options struct {
	// Log takes what happens to the store as a whole. Default: nowhere.
	Log *slog.Logger
	// ReadOnly opens a store that exists, changes nothing in it, and takes a
	// damaged one as well.
	ReadOnly bool
	// Repair makes a store whose pages are hurt whole before it is opened, as
	// the function Repair does, and logs what it cost. Default: ErrDamaged.
	Repair bool
	// ProveLater opens a store that is just as the last Close left it at once,
	// however large: call Prove, soon. Default: all pages are proved first, as
	// they also are when something else was done to the file.
	ProveLater bool
	// Timeout is how long to wait for another program to let go of the file.
	// Default: one second.
	Timeout time.Duration
	// Fault is asked inside each transaction, before it is committed, and its
	// error makes the transaction fail. It is there so that tests of a caller
	// can fill the disk. Default: nothing fails.
	Fault func(Op) error

	// Opened is given the database before it is used, each time that the store
	// opens one. It is there so that tests can stand between it and its file; see
	// storage/disk. Default: nobody is.
	Opened func(*bbolt.DB)

	// Tests upgrade through migrations of their own.
	migrations []migration
	// A file that nobody knows yet is flushed once, when it is complete.
	flushLate bool
	// Traces in the making that go on, and are not cut short; see Mend.
	keep map[ID]*Writer
}

// Store is an open store. Close it.
type Store struct {
	path     string
	log      *slog.Logger
	fault    func(Op) error
	readOnly bool
	db       *bbolt.DB // nil when salvage reads a damaged file
	salvage  *salvaged
	hurt     []*Damage // of the pages, found on opening
	tornHead bool      // one of the two head pages does not read
	late     bool      // see Options.flushLate

	o        Options       // to open it again; see Mend
	file     *os.File      // of db
	pageSize int64         // of db
	writing  sync.Mutex    // one transaction that writes at a time
	mending  sync.Mutex    // one Mend at a time
	alarms   chan struct{} // see Tend
	errands  chan struct{} // see Errands
	askedAt  atomic.Int64  // when somebody used it last; see givesWay

	mu       sync.Mutex
	closed   bool
	unproved bool          // see Prove
	broken   error         // why nothing is taken: the store was found hurt; see fail
	tended   bool          // somebody will mend it; see Tend
	stuck    bool          // the database's locks are held for good; see transact
	written  uint64        // the last transaction; 0 when that is not known
	sure     uint64        // the last transaction that is on disk for certain
	users    int           // who is using the database; see enter
	unused   chan struct{} // closed when nobody does any more
	tally    tally         // what is in it
	scrubbed bool          // all of it was found whole since it was opened; see Proved
	looked   chan struct{} // closed, and made again, each time it was looked at
	open     map[ID]*Writer
	made     map[ID]uint64 // of traces in the making when it was let go of, what was acknowledged; see hadOf
	ghosts   []ID          // of Begins that failed; see lay
}

// Open opens the store at path, and makes it, with its folders, when it is not
// there. Traces that were in the making when the last program stopped are
// marked as cut short. An older store is upgraded, after a backup beside it.
//
// The error wraps one of ErrInUse, ErrNewer, ErrNotAStore, ErrDamaged and
// ErrNoStore (ReadOnly only), or is the system's.
func Open(path string, o Options) (*Store, error) {
	s, err := open(path, o)
	if o.ProveLater && errors.Is(err, ErrDamaged) {
		o.ProveLater = false // which tells how, and what still reads
		s, err = open(path, o)
	}
	if !o.Repair || o.ReadOnly || !errors.Is(err, ErrDamaged) {
		return s, err
	}
	if _, _, err := Repair(context.Background(), path, o); err != nil {
		return nil, err
	}
	return open(path, o)
}

func open(path string, o Options) (*Store, error) {
	s := &Store{path: path, log: o.Log, fault: o.Fault, readOnly: o.ReadOnly, late: o.flushLate, open: map[ID]*Writer{},
		errands: make(chan struct{}, 1), alarms: make(chan struct{}, 1), looked: make(chan struct{}), o: o}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if o.Timeout == 0 {
		o.Timeout = time.Second
	}
	fresh, err := s.prepare()
	if err != nil {
		return nil, err
	}
	file, err := s.lock(o.Timeout)
	if err != nil {
		return nil, err
	}
	if !fresh {
		if err := s.examine(file, o.ProveLater); err != nil {
			file.Close()
			return nil, err
		}
		if s.salvage != nil {
			return s, nil
		}
	}
	if err := s.openDatabase(file, o); err != nil {
		return nil, err
	}
	if s.unproved {
		s.untouched()
	}
	if err := s.settle(fresh, o); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// prepare looks whether the file is there and makes its folders; fresh is true
// for a file that is not, or is empty.
func (s *Store) prepare() (fresh bool, err error) {
	info, err := os.Stat(s.path)
	switch {
	case err == nil && info.IsDir():
		return false, fmt.Errorf("opening the store %s: %w: it is a folder; give the name of a file", s.path, ErrNotAStore)
	case err == nil && !info.Mode().IsRegular():
		return false, fmt.Errorf("opening the store %s: %w: it is no ordinary file", s.path, ErrNotAStore)
	case err == nil && info.Size() > 0:
		return false, nil
	case err == nil && readMark(s.path).says() != "":
		return false, fmt.Errorf("%w: %s is empty now, and held %s: put a backup of it in its place, or take %s away to begin with an empty one",
			ErrEmptied, s.path, readMark(s.path).says(), filepath.Base(s.markName()))
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return false, fmt.Errorf("opening the store %s: %w", s.path, err)
	case s.readOnly:
		return false, fmt.Errorf("%w at %s: nothing has been recorded there yet; record something first, or name another folder", ErrNoStore, s.path)
	}
	if err := os.MkdirAll(filepath.Dir(s.path), 0o700); err != nil {
		return false, fmt.Errorf("making the folder of the store %s: %w", s.path, err)
	}
	return true, nil
}

// openDatabase hands the locked file to bbolt, which closes it from now on.
func (s *Store) openDatabase(file *os.File, o Options) error {
	if err := handOver(file); err != nil {
		file.Close()
		return fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	bo := &bbolt.Options{
		Timeout:      o.Timeout,
		ReadOnly:     s.readOnly,
		FreelistType: bbolt.FreelistMapType,
		PageSize:     pageBytes,
		NoStatistics: true,
		NoSync:       o.flushLate,
		OpenFile:     func(string, int, os.FileMode) (*os.File, error) { return file, nil },
		// The free pages are read right away: a checking reader would
		// otherwise race for them.
		PreLoadFreelist: true,
	}
	if runtime.GOOS != "windows" && strconv.IntSize == 64 {
		// Address space, not memory. A writer that has to map again waits for
		// every reader, and a backup is a slow reader.
		bo.InitialMmapSize = 1 << 30
	}
	err := guard(func() (err error) {
		if s.db, err = bbolt.Open(s.path, 0o600, bo); err == nil {
			s.pageSize = int64(s.db.Info().PageSize)
		}
		return err
	})
	if err != nil {
		s.db = nil
		_ = abandon(file) // the database closes it, unless it stopped half way
		if errors.Is(err, berrors.ErrTimeout) {
			return s.inUse()
		}
		if errors.Is(err, berrors.ErrInvalid) || errors.Is(err, berrors.ErrVersionMismatch) || errors.Is(err, berrors.ErrChecksum) {
			return fmt.Errorf("opening the store %s: %w: %w", s.path, ErrNotAStore, err)
		}
		return fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	s.file = file
	// With a large mapping bbolt grows the file by this much at a time.
	s.db.AllocSize = 1 << 20
	if o.Opened != nil {
		o.Opened(s.db)
	}
	err = s.transact(s.db, false, func(tx *bbolt.Tx) error {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.written, s.sure = uint64(tx.ID()), uint64(tx.ID())
		return nil
	})
	if err != nil {
		s.Close()
		return fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	return nil
}

// settle brings a store that was just opened up to date: schema, buckets, and
// traces left in the making.
func (s *Store) settle(fresh bool, o Options) error {
	if mark := readMark(s.path); mark != nil && mark.Tx <= s.sure && s.sure <= mark.Tx+1 {
		s.made = mark.Making
	}
	if err := s.upgrade(fresh, o.migrations); err != nil {
		return err
	}
	if s.readOnly {
		return nil
	}
	if s.tornHead {
		// An empty transaction writes over the torn one.
		if err := s.update(OpOpen, func(*bbolt.Tx) error { return nil }); err != nil {
			return fmt.Errorf("opening the store %s: %w", s.path, advise(err))
		}
		s.log.Warn("a head page of the store was torn, as a power cut does; the last write may be missing", "path", s.path)
	}
	return s.finishCutShort()
}

// Path returns the name of the file.
func (s *Store) Path() string { return s.path }

// Damages returns what was found hurt in the file's pages on opening. It is
// empty for a sound store; only a store open for reading can have any.
func (s *Store) Damages() []*Damage { return s.hurt }

// Close flushes and lets go of the file. A trace still in the making is left
// so, and is marked as cut short on the next opening: end it first. Close
// waits for calls under way.
func (s *Store) Close() error {
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		return nil
	}
	s.closed = true
	s.mu.Unlock()
	if s.salvage != nil {
		return s.salvage.close()
	}
	s.mending.Lock()
	defer s.mending.Unlock()
	if err := s.letGo(context.Background()); err != nil {
		return fmt.Errorf("closing the store %s: %w", s.path, err)
	}
	return nil
}

// letGo closes the database when nobody uses it any more. One that is stuck is
// left as it is, and only its file is let go of.
func (s *Store) letGo(ctx context.Context) error {
	s.mu.Lock()
	db, stuck := s.db, s.stuck
	sound := s.broken == nil && !s.unproved
	s.mu.Unlock()
	if db == nil {
		return nil
	}
	if !stuck {
		if err := s.left(ctx); err != nil {
			return err
		}
		s.mu.Lock()
		stuck, sound = s.stuck, sound && s.broken == nil
		s.mu.Unlock()
	}
	defer func() {
		s.mu.Lock()
		s.db, s.file, s.stuck = nil, nil, false
		s.mu.Unlock()
	}()
	if !s.readOnly && !s.late && s.sound() != nil {
		s.leaveHurtMark()
	}
	if stuck {
		return abandon(s.file)
	}
	if !s.readOnly && !s.late && sound {
		s.leaveMark() // while nobody else can write
	}
	file := s.file
	err := guard(db.Close)
	_ = abandon(file) // a database that stopped while it closed has its file still
	return err
}

// view runs fn on one state of the store.
func (s *Store) view(fn func(rows) error) error {
	s.asked()
	return s.viewQuietly(fn)
}

// viewQuietly is view for who goes last; see givesWay.
func (s *Store) viewQuietly(fn func(rows) error) error {
	db, err := s.enter()
	if err != nil {
		return err
	}
	defer s.leave()
	if s.salvage != nil {
		return fn(s.salvage)
	}
	return s.noticing(s.transact(db, false, func(tx *bbolt.Tx) error {
		if err := s.topReads(); err != nil {
			return err
		}
		return fn(boltRows{tx})
	}))
}

// noticing looks whether an error of a transaction says that the store is hurt.
func (s *Store) noticing(err error) error {
	var died *panicked
	if errors.As(err, &died) || errors.Is(err, ErrDamaged) {
		s.fail(err)
	}
	return err
}

// update runs fn in one transaction, which is on disk when update returns nil.
//
// After an error it may be there or not (the last flush can fail with
// everything written), so whoever calls again must write so that twice is as
// good as once. It is never there in part; nor do later transactions build on
// pages that a failed flush may have dropped: the database flushes pages before
// the head page that refers to them, and takes a failed transaction's back.
func (s *Store) update(op Op, fn func(*bbolt.Tx) error) error {
	db, err := s.enter()
	if err != nil {
		return err
	}
	defer s.leave()
	if s.readOnly || db == nil {
		return ErrReadOnly
	}
	return s.noticing(s.transact(db, true, func(tx *bbolt.Tx) error {
		if err := s.topReads(); err != nil {
			return err
		}
		if err := fn(tx); err != nil {
			return err
		}
		if s.fault != nil {
			return s.fault(op)
		}
		return nil
	}))
}
