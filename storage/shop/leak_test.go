package shop

import (
	"testing"

	"go.uber.org/goleak"
)

// Publishers, readers, links and the servers they talk to leave no goroutine
// behind when the tests are over; nothing is let off.
func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m)
}
