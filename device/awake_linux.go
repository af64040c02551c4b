package device

import (
	"time"

	"golang.org/x/sys/unix"
)

// sinceBoot is a time that goes on while the computer sleeps and that nobody
// sets. The monotonic clock stands still meanwhile.
func sinceBoot() time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &t) != nil {
		return time.Since(processStart)
	}
	return time.Duration(t.Nano())
}
