package storage

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// The database locks this range, far beyond any data, so that the file can
// still be read; the check of the pages takes the same lock for its while.
var lockRange = windows.Overlapped{Offset: 0xffffffff, OffsetHigh: 0xffffffff}

func tryLock(f *os.File, shared bool) (bool, error) {
	flags := uint32(windows.LOCKFILE_FAIL_IMMEDIATELY)
	if !shared {
		flags |= windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	at := lockRange
	err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return false, nil
	}
	return err == nil, err
}

// handOver lets go of the lock: a handle cannot take it twice here. Whoever
// gets in between is found by the database, which then says so.
func handOver(f *os.File) error { return unlock(f) }

func unlock(f *os.File) error {
	at := lockRange
	return windows.UnlockFileEx(windows.Handle(f.Fd()), 0, 1, 0, &at)
}

// syncFolder does nothing: a rename is journalled with the file system here,
// and a folder cannot be flushed by an ordinary program.
func syncFolder(string) error { return nil }
