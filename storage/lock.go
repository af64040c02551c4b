package storage

import (
	"bufio"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"
)

// lock opens the file and takes its lock, waiting up to timeout.
func (s *Store) lock(timeout time.Duration) (*os.File, error) {
	flags := os.O_RDWR | os.O_CREATE
	if s.readOnly {
		flags = os.O_RDONLY
	}
	f, err := os.OpenFile(s.path, flags, 0o600)
	if err != nil {
		return nil, fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	for deadline := time.Now().Add(timeout); ; time.Sleep(20 * time.Millisecond) {
		got, err := tryLock(f, s.readOnly)
		if err != nil {
			f.Close()
			return nil, fmt.Errorf("locking the store %s: %w", s.path, err)
		}
		if got {
			return f, nil
		}
		if time.Now().After(deadline) {
			err := s.inUse()
			f.Close()
			return nil, err
		}
	}
}

// abandon closes the file of a database that may not be closed itself. The lock
// is given back first: the database's mapping, which stays, would hold it on
// Unix after the file is closed, and nobody could open the store again.
func abandon(f *os.File) error {
	_ = unlock(f) // nothing to give back where it is closed already
	return f.Close()
}

func (s *Store) inUse() error {
	who := "another lobescribe"
	if pid := lockHolder(s.path); pid > 0 {
		who += fmt.Sprintf(" (process %d)", pid)
	}
	return fmt.Errorf("%w: %s is in use by %s; stop that one, or work through its page", ErrInUse, s.path, who)
}

// lockHolder finds the process that holds a lock on the file, where the system
// tells (Linux: the table of locks); 0 otherwise.
func lockHolder(path string) int {
	want, ok := inode(path)
	if !ok {
		return 0
	}
	f, err := os.Open("/proc/locks")
	if err != nil {
		return 0
	}
	defer f.Close()
	// 1: FLOCK  ADVISORY  WRITE 1234 fd:01:5678 0 EOF
	for lines := bufio.NewScanner(f); lines.Scan(); {
		field := strings.Fields(lines.Text())
		if len(field) < 8 || field[1] != "FLOCK" {
			continue
		}
		at := strings.LastIndexByte(field[5], ':')
		if at < 0 || field[5][at+1:] != want {
			continue
		}
		if pid, err := strconv.Atoi(field[4]); err == nil {
			return pid
		}
	}
	return 0
}
