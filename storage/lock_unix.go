//go:build unix

package storage

import (
	"errors"
	"os"
	"syscall"
	"time"
)

// tryLock takes the lock that the database takes, on the same open file: the
// database then finds it taken by itself. So nobody can write between the
// check of the pages and the opening.
func tryLock(f *os.File, shared bool) (bool, error) {
	how := syscall.LOCK_NB | syscall.LOCK_EX
	if shared {
		how = syscall.LOCK_NB | syscall.LOCK_SH
	}
	for {
		err := syscall.Flock(int(f.Fd()), how)
		switch {
		case err == nil:
			return true, nil
		case errors.Is(err, syscall.EWOULDBLOCK):
			return false, nil
		case !errors.Is(err, syscall.EINTR):
			return false, err
		}
		time.Sleep(time.Millisecond)
	}
}

func unlock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }

// handOver keeps the lock for the database.
func handOver(*os.File) error { return nil }

// syncFolder makes the names in a folder durable, after a rename.
func syncFolder(folder string) error {
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
