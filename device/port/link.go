package port

import (
	"io"
	"time"

	"lobescribe/device/measure"
)

// Link is an open line to a device: a serial port, a socket, a file that is
// played back.
//
// Read returns what has come, waiting for the first byte. It must come back
// now and then although nothing came, with (0, nil), at least every third of
// a second; so the goroutine that reads can be told to stop, and no one closes
// a descriptor under it. An error means that the link is lost; (0, nil) never
// does.
//
// Write is used to poll a device that speaks only when asked, and never
// otherwise.
type Link interface {
	io.ReadWriteCloser
}

// ReadPause is how often a read comes back without bytes, so that whoever
// reads can be told to stop. Then no descriptor is closed under a reader.
const ReadPause = 100 * time.Millisecond

// Gatherer is a link that can wait for several reads at less than the cost of
// each.
type Gatherer interface {
	// Gather adds what comes to b, each read with the clock's time, until b is
	// ripe; or it comes back, as Read does, when nothing came for a while. With
	// NextRead what came in the rest before is marked as such.
	Gather(b *Batch, clock func() measure.Stamp, hold measure.Stamp) error
	// Rest waits, and until then bytes wake nobody.
	Rest(time.Duration) error
}
