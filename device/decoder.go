package device

import (
	"time"

	"lobescribe/device/wire"
)

// Decoder makes readings of bytes. It is pure and incremental; package
// [lobescribe/device/wire] says what is asked of it.
type Decoder interface {
	// Decode takes the bytes that came next and appends to out what they
	// meant.
	Decode(c wire.Chunk, out *wire.Out)
	// Reset says that bytes were lost: the link was closed and opened again.
	// A part of a line or frame that is held is dropped; what was learnt
	// about the device stays.
	Reset()
	// Found says what is known about the device by now. It must be cheap.
	Found() wire.Found
}

// Asker is a [Decoder] whose device speaks only when asked. The [Source] calls
// Ask, writes what it gave, and asks again when the answer is there (or the
// time for it is over) and the interval between two requests has passed.
type Asker interface {
	Decoder
	// Ask appends the next request to dst.
	Ask(dst []byte) []byte
	// Answered reports whether the last request has had its whole answer, be
	// it a reading, a condition or something refused.
	Answered() bool
	// Unanswered says that the time for the answer is over: what was held of
	// it is dropped, and what comes later belongs to the next request.
	Unanswered(out *wire.Out)
}

// pauser is an [Asker] whose line must have been silent for a while before a
// request, by the time of a byte on it.
type pauser interface {
	Pause(perByte time.Duration) time.Duration
}

// quietStarter is a [Decoder] that wants to know that the line was quiet for a
// while before any byte came: what comes first is then the start of a line and
// not the middle of one. A device that speaks only when its button is pressed
// would otherwise lose its first reading.
type quietStarter interface {
	BeginsQuiet()
}
