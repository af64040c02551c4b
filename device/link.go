package device

import (
	"io"
)

// Link is an open line to a device: a serial port, a socket, a file that is
// played back.
//
// Read returns what has come, waiting for the first byte. It must come back
// now and then although nothing came, with (0, nil), at least every quarter of
// a second; so the goroutine that reads can be told to stop, and no one closes
// a descriptor under it. An error means that the link is lost; (0, nil) never
// does.
//
// Write is used to poll a device that speaks only when asked, and never
// otherwise.
type Link interface {
	io.ReadWriteCloser
}
