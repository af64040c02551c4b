package device

import (
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// sinceBoot is a time that goes on while the computer sleeps and that nobody
// sets. The monotonic clock stands still meanwhile.
func sinceBoot() time.Duration {
	var t unix.Timespec
	// Behind the runtime's back, as what reads a port does: the call does not wait.
	if _, _, err := unix.RawSyscall(unix.SYS_CLOCK_GETTIME, unix.CLOCK_BOOTTIME, uintptr(unsafe.Pointer(&t)), 0); err != 0 {
		return time.Since(processStart)
	}
	return time.Duration(t.Nano())
}
