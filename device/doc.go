// Package device brings what instruments say: an [address.Address] is opened as a
// [Source], which reads a [Link], hands the bytes to a [Decoder], and gives out
// readings, notes and its own state as [Event]s, until its context ends.
//
//	address -> link -> bytes with their time -> decoder -> settling -> events
//
// # Words
//
// A link is an open line (port or socket); a decoder makes readings of bytes;
// a chunk is what one read gave. A reading's stamp is monotonic ([Now]); it is
// the moment its last byte came, less the delay of the address.
//
// # Promises
//
// A port that is absent, refused or silent is a [State] and no error: the source
// tries again, after at most two seconds. Every reading that arrived is given
// out, in order, and nothing else is: what is no reading is counted by the
// reason why ([wire.Refused]). Lost time is told as a gap. Nothing is ever
// written to a device, unless the address says poll= or the format speaks by
// request. The port is closed before the events are. A link that is open but
// dead is found by its silence, and by the computer's having slept.
//
// # Times
//
// A stamp is when the last byte of a line came, as nearly as can be told: the
// moment of the read, less the bytes behind the line at the speed of the line;
// and lines that came together, held up by a converter's timer or a busy
// computer, are put back to the pace of the device. When it was measured is
// earlier by what the device and the line take: delay= in the address.
//
// # Parts to put in
//
// A wire format is a [Decoder]: bytes in, readings and conditions out, pure and
// incremental, with no clock and no I/O (an [Asker] where the device speaks only
// when asked: the source writes the request and keeps the time). It is written
// against package wire and is unaware of ports. [Options.Decoder] puts in
// another; [NewDecoder] knows ours. A line of another kind is a [Link], put in
// by [Options.Dial]. What turns an encoder's counts into crank angle is a
// [wire.Crank], put in by [Options.Crank].
//
// # Assumptions
//
// One program reads a port. A line is whole when its end has come. A device
// that was seen to speak while at rest goes on doing so; the silence of any
// other says nothing.
package device
