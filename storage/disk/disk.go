// Package disk is for tests: it stands between the store's database and its file,
// and is a disk that refuses, or whose power goes.
//
// The database flushes its pages, writes a head page, and flushes that. Between
// two flushes a disk may carry out writes in any order, in part or not at all;
// what a power cut leaves of them is drawn sector by sector.
package disk

import (
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"reflect"
	"sync"
	"unsafe"

	"go.etcd.io/bbolt"
)

// Write is how the database writes to its file.
type Write func(b []byte, at int64) (int, error)

// Between puts fn between a database and its file. bbolt has a place for that,
// which only its own tests can reach; the error says that a new version has moved
// it.
func Between(db *bbolt.DB, fn func(write Write, b []byte, at int64) (int, error)) error {
	field := reflect.ValueOf(db).Elem().FieldByName("ops").FieldByName("writeAt")
	if !field.IsValid() || !field.CanAddr() {
		return errors.New("bbolt has changed: there is no ops.writeAt any more")
	}
	place := (*func([]byte, int64) (int, error))(unsafe.Pointer(field.UnsafeAddr()))
	write := *place
	*place = func(b []byte, at int64) (int, error) { return fn(write, b, at) }
	return nil
}

const (
	// Sector is what a disk writes in one piece, in bytes.
	Sector = 512
	// Page is the size of a page of the database in bytes; the first two are the
	// heads.
	Page = 4096
)

// Disk is the disk that one file lies on.
type Disk struct {
	// Path is the file; databases of other files are left alone.
	Path string
	// Refuse is asked before each write, and its error is the disk's. Nil: it takes
	// all.
	Refuse func() error
	// Writing hears of each write before it is done, with its number from 1 on, and
	// may call Cut. It is called by whoever writes. Nil: nobody does.
	Writing func(n int)

	file    *os.File // of the database that was attached last, to read from
	mu      sync.Mutex
	writes  int
	heads   bool   // the last write was of a head page
	pending []undo // since the last flush, in order
	now     undo   // the write that is about to be done
	bytes   []byte // of it
}

// undo is what stood where something was written.
type undo struct {
	at   int64
	were []byte
	size int64 // of the file
}

// fileOf is the database's own file: one that is opened beside it could be neither
// renamed nor replaced on Windows.
func fileOf(db *bbolt.DB) (*os.File, error) {
	field := reflect.ValueOf(db).Elem().FieldByName("file")
	if !field.IsValid() || field.Type() != reflect.TypeFor[*os.File]() {
		return nil, errors.New("bbolt has changed: there is no file any more")
	}
	return *(**os.File)(unsafe.Pointer(field.UnsafeAddr())), nil
}

// Attach stands between a database and the disk's file, and spares the flushes:
// what they would have made certain is known from the order of writes. The error
// is Between's.
func (d *Disk) Attach(db *bbolt.DB) error {
	if db.Path() != d.Path {
		return nil
	}
	db.NoSync = true
	f, err := fileOf(db)
	if err != nil {
		return err
	}
	d.mu.Lock()
	d.file = f
	d.heads, d.pending = false, nil
	d.mu.Unlock()
	return Between(db, d.write)
}

func (d *Disk) write(write Write, b []byte, at int64) (int, error) {
	if d.Refuse != nil {
		if err := d.Refuse(); err != nil {
			return 0, err
		}
	}
	was := undo{at: at, were: make([]byte, len(b))}
	d.mu.Lock()
	if err := was.read(d.file); err != nil {
		d.mu.Unlock()
		return 0, err
	}
	if heads := at < 2*Page; heads != d.heads {
		d.heads, d.pending = heads, nil // it has flushed
	}
	d.writes++
	d.now, d.bytes = was, b
	n := d.writes
	d.mu.Unlock()
	if d.Writing != nil {
		d.Writing(n)
	}
	d.mu.Lock()
	d.pending = append(d.pending, was)
	d.now, d.bytes = undo{}, nil
	d.mu.Unlock()
	return write(b, at)
}

func (u *undo) read(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	u.size = info.Size()
	n, err := f.ReadAt(u.were, u.at)
	if err != nil && err != io.EOF {
		return err
	}
	u.were = u.were[:n]
	return nil
}

// Writes returns how many writes there were.
func (d *Disk) Writes() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.writes
}

// Cut returns the file as it stands if the power goes at this moment: of what was
// written since the last flush, and is being written, each sector is there or not,
// by chance. A head page, which has a checksum of its own, is torn finer than any
// disk would.
func (d *Disk) Cut(chance *rand.Rand) ([]byte, error) {
	image, err := os.ReadFile(d.Path)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	kept := []float64{0, 0.5, 0.95, 1}[chance.IntN(4)]
	piece := Sector
	if d.heads {
		piece = 8
	}
	if n := len(d.bytes); n > 0 {
		if more := int(d.now.at) + n - len(image); more > 0 {
			image = append(image, make([]byte, more)...)
		}
		for at := 0; at < n; at += piece {
			if chance.Float64() < kept {
				copy(image[int(d.now.at)+at:], d.bytes[at:min(at+piece, n)])
			}
		}
	}
	for i := len(d.pending) - 1; i >= 0; i-- {
		u := d.pending[i]
		for at := 0; at < len(u.were); at += piece {
			if end := min(at+piece, len(u.were)); chance.Float64() >= kept && int(u.at)+end <= len(image) {
				copy(image[int(u.at)+at:], u.were[at:end])
			}
		}
	}
	return image, nil
}
