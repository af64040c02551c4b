//go:build !linux

package device

import (
	"time"
)

// sinceBoot is the wall clock here: it goes on while the computer sleeps. When
// somebody sets it, the link is opened once more than needed.
func sinceBoot() time.Duration { return time.Duration(time.Now().UnixNano()) }
