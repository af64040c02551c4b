package device

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/port"
)

// What may not be opened is there, and refused; what is not there is absent.
func TestWhyAPortIsNotOpenIsAState(t *testing.T) {
	for _, cause := range []error{port.ErrPermission, port.ErrBusy} {
		assert.Equal(t, Refused, stateOf(&port.OpenError{Port: "x", Cause: cause}))
	}
	assert.Equal(t, Absent, stateOf(&port.OpenError{Cause: port.ErrNotFound}))
	assert.Equal(t, Absent, stateOf(os.ErrClosed))
}
