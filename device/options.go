package device

import (
	"context"
	"log/slog"
	"time"

	"lobescribe/device/address"
	"lobescribe/device/dial"
	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/device/wire"
)

// Options are how a [Source] is run. The zero value is good.
type Options struct {
	// Log gets a line for each change of state; default: nothing is logged.
	Log *slog.Logger
	// Clock is the monotonic time; default: [Now]. Sources
	// whose readings are joined must share it.
	Clock func() measure.Stamp
	// Formats are the line formats that format= may name; default: those
	// built in.
	Formats *formats.Set
	// Dial opens the link of an address; default: [dial.Dial]. A recording that is
	// played back is a Dial that returns it.
	Dial func(ctx context.Context, a address.Address) (port.Link, error)
	// Decoder makes the decoder of an address; default: [NewDecoder].
	Decoder func(a address.Address, o DecoderOptions) (Decoder, error)
	// Crank makes what turns an encoder's counts into crank angle; default:
	// made of the address (counts=, on=, offset=, reverse=, wrap=).
	Crank func(a address.Address) (wire.Crank, error)
	// Port is what sits on the port: an encoder's never gives a lift, and an
	// indicator's gives an angle only in one line with the lift. Default: what
	// role= in the address says, or that it may be either.
	Port lines.Port
	// Gather says how long it may take until what came is handed on; default:
	// no time at all. Each read keeps its own time, but for two kinds of device
	// whose bytes are left unread that long: of one that sends a thousand readings
	// a second or so, readings get times that are right to one period; of one that
	// sends evenly, and may take 200 ms, those between two that are read as they
	// come are placed by its period, right to a millisecond or so. Where a line is
	// missing among these, or the device pauses, they stand too early by as much.
	Gather func() time.Duration
	// Record gets all that is received, as it comes and before anything else
	// is done with it. It is called by one goroutine and must not keep b.
	Record func(at measure.Stamp, b []byte)
	// Linked is told when the link was opened and when it was lost, between
	// the calls of Record; a recording marks these.
	Linked func(at measure.Stamp, open bool)

	// awake is the time that goes on while the computer sleeps, to notice
	// that it did.
	awake func() time.Duration
	// quietStart is the silence after which a line begins whole.
	quietStart measure.Stamp
	// wait is the wait between tries.
	wait backoff
}

// DecoderOptions is what a decoder may need besides the address.
type DecoderOptions struct {
	Formats *formats.Set
	Crank   wire.Crank
	Port    lines.Port
}

// processStart is the origin of the default clock, a second before the process
// began: what is read at once came before that, and its time must not be below
// zero. It is never written again.
var processStart = time.Now().Add(-time.Second)

// Now returns the default clock's time: monotonic, since a second before the
// process began.
func Now() measure.Stamp { return measure.StampOf(time.Since(processStart)) }

func (o Options) withDefaults() Options {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Clock == nil {
		o.Clock = Now
	}
	if o.Formats == nil {
		o.Formats = &formats.Set{}
	}
	if o.Dial == nil {
		o.Dial = dial.Dial
	}
	if o.Decoder == nil {
		o.Decoder = NewDecoder
	}
	if o.Crank == nil {
		o.Crank = crankOf
	}
	if o.quietStart == 0 {
		o.quietStart = quietStart
	}
	if o.awake == nil {
		o.awake = sinceBoot
	}
	return o
}
