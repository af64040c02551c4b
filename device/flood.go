package device

import (
	"bytes"
	"fmt"
	"time"

	"lobescribe/device/measure"
)

// No instrument on a spindle has more to say than some thousand readings a
// second. A device that sends a million lines is broken or hostile, and must
// take neither the machine nor the memory: it is read no faster than mostBytes,
// and of what it says in a second mostReadings are followed and the rest is left
// out, which is counted, told as its state, and noted as a gap.
//
// The kept readings of a second stand together and not one in so many, so that
// what is there is a true stretch and the gap says exactly what is not.
const (
	mostBytes    = 1_000_000 // a second: all that a full-speed USB device can carry
	burstBytes   = 256_000   // at once: what had gathered while the computer was busy
	mostReadings = 50_000    // lines decoded in a second, taken or refused
	floodToldFor = 2 * measure.Second
	// A person switches the unit or sets a zero now and then. A device that tells
	// of it with every line would fill the trace, and every page, with that.
	mostNotes = 10 // in
	notesFor  = 10 * measure.Second
)

// flood follows how much a device says. It is a pure state machine.
type flood struct {
	second measure.Stamp // when the running second began
	lines  int           // decoded in it
	shut   bool          // the rest of it is left out
	shutAt measure.Stamp // when it last was
	ever   bool

	notesAt  measure.Stamp // when the running notesFor began
	notes    int           // in it
	babbling bool          // there were too many
}

// decoded takes note of what a piece gave.
func (f *flood) decoded(at measure.Stamp, lines int) {
	f.pass(at)
	if f.lines += lines; f.lines > mostReadings {
		f.shut, f.shutAt, f.ever = true, at, true
	}
}

// leavesOut reports whether what came at this time is left out.
func (f *flood) leavesOut(at measure.Stamp) bool {
	f.pass(at)
	if f.shut {
		f.shutAt = at
	}
	return f.shut
}

func (f *flood) pass(at measure.Stamp) {
	if d := at - f.second; d >= measure.Second || d < 0 {
		f.second, f.lines, f.shut = at, 0, false
	}
}

// lately reports whether anything was left out of late.
func (f *flood) lately(now measure.Stamp) bool { return f.ever && now-f.shutAt < floodToldFor }

// says tells what is wrong with a device that floods.
func (f *flood) says() string {
	return fmt.Sprintf("it sends more than can be followed: of each second what is above %d lines is left out; set it to send fewer", mostReadings)
}

// leaveOut counts what is not decoded, and begins the gap.
func (s *Source) leaveOut(b []byte) {
	s.out.Reset()
	s.out.Refused.Flood = int64(max(bytes.Count(b, []byte("\n")), 1))
	if !s.lost && s.watch.everRead {
		s.lost, s.lostAt, s.why = true, s.lastAt, "it sent more than can be followed"
	}
	s.torn = true
}

// note reports whether a note of the device itself goes on.
func (f *flood) note(at measure.Stamp) bool {
	if d := at - f.notesAt; d >= notesFor || d < 0 {
		f.notesAt, f.notes, f.babbling = at, 0, false
	}
	f.notes++
	f.babbling = f.notes > mostNotes
	return !f.babbling
}

// babblesSays tells what is wrong with a device that has too many notes; "" if
// it has not.
func (f *flood) babblesSays() string {
	if !f.babbling {
		return ""
	}
	return "its unit or its zero changes again and again, faster than a hand could: is it the right format?"
}

// throttle bounds how fast a link is read. What it holds back waits in the
// system's buffers, or with the device.
type throttle struct {
	debt time.Duration // how far what was read is ahead of mostBytes a second
	last measure.Stamp
}

// after returns how long to wait before the next read, when n bytes came at
// this time.
func (t *throttle) after(n int, at measure.Stamp) time.Duration {
	const perByte = time.Second / mostBytes
	t.debt = max(0, t.debt-max(0, at-t.last).Duration()) + time.Duration(n)*perByte
	t.last = at
	return max(0, t.debt-burstBytes*perByte)
}
