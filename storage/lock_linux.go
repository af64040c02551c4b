package storage

import (
	"os"
	"strconv"
	"syscall"
)

// inode returns the number by which the table of locks knows the file.
func inode(path string) (string, bool) {
	info, err := os.Stat(path)
	if err != nil {
		return "", false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return "", false
	}
	return strconv.FormatUint(st.Ino, 10), true
}
