//go:build linux || darwin || freebsd

package pages

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// written returns where the first bytes at or behind at begin that were ever
// written, and where they end; from is size when there are none. A page number
// that is hurt makes a file of terabytes with next to nothing in it.
func written(r io.ReaderAt, at, size int64) (from, to int64) {
	file, ok := r.(*os.File)
	if !ok {
		return at, size
	}
	conn, err := file.SyscallConn()
	if err != nil {
		return at, size
	}
	from, to = at, size
	_ = conn.Control(func(fd uintptr) {
		switch data, err := unix.Seek(int(fd), at, unix.SEEK_DATA); {
		case errors.Is(err, unix.ENXIO):
			from = size
		case err == nil:
			from = max(at, data)
			if hole, err := unix.Seek(int(fd), from, unix.SEEK_HOLE); err == nil && hole > from {
				to = min(size, hole)
			}
		}
	})
	return min(from, size), to
}
