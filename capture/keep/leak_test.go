package keep

import (
	"testing"

	"go.uber.org/goleak"
)

// No goroutine outlives what it works for; none is let off.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
