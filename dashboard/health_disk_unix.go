//go:build unix

package dashboard

import "golang.org/x/sys/unix"

// freeOn returns the bytes that this user may still write to the disk that
// holds folder.
func freeOn(folder string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil
}
