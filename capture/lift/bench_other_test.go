//go:build !unix

package lift_test

import (
	"testing"
	"time"
)

// processor is not asked of this system.
func processor(*testing.B) time.Duration { return 0 }
