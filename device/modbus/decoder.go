package modbus

import (
	"bytes"
	"fmt"
	"time"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Decoder asks for one number again and again and makes readings of the
// answers. It is pure, and an Asker of package device.
type Decoder struct {
	o       Options
	request []byte
	answer  int // length of a whole answer
	found   wire.Found
	unit    int64 // what one is worth: nm or microdegrees

	buf      []byte // what came since the request
	answered bool
	stray    bool // something came that nobody had asked for, and was counted
	counts   unwound
}

const (
	exceptionLength = 5
	// longest bounds what is held: an echo, an answer and noise before them.
	longest = 64
)

// New returns a Decoder. The error says what is missing or cannot be, and what
// to add to the address.
func New(o Options) (*Decoder, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	n := o.Type.registers()
	d := &Decoder{o: o, answered: true, answer: 5 + 2*n, buf: make([]byte, 0, longest)}
	d.request = appendCRC([]byte{o.Slave, o.Table.function(), byte(o.Register >> 8), byte(o.Register), 0, byte(n)})
	d.found = wire.Found{Settled: true, Format: "modbus"}
	worth := ""
	switch o.Role {
	case Lift:
		one, unit := o.Scale, o.Unit
		if one == 0 && unit == measure.NoUnit {
			unit, d.found.Assumed = measure.InMillimetres, true
		}
		if one == 0 {
			one = unit.Length()
		}
		d.unit, d.found.Unit = int64(one), unit
		if o.Type != Float32 {
			d.found.Resolution = one
		}
		worth = ", " + one.String() + " each"
	case Angle:
		d.unit, worth = int64(o.Step), ", "+o.Step.String()+" each"
		if o.Type != Float32 {
			d.found.AngleStep = o.Step
		}
	case Counts:
		d.found.AngleStep = o.Crank.Step()
	}
	order := ""
	if n == 2 || o.Order == BADC || o.Order == DCBA {
		order = " " + o.Order.String()
	}
	d.found.Says = fmt.Sprintf("asked: %v as %v%s in %v register %d of device %d%s", o.Role, o.Type, order, o.Table, o.Register, o.Slave, worth)
	return d, nil
}

// Found says what is read.
func (d *Decoder) Found() wire.Found { return d.found }

// Pause returns how long the line must be silent before a request, by the time
// of a byte on it.
func (d *Decoder) Pause(perByte time.Duration) time.Duration { return Silence(perByte) }

// Ask appends the request to dst.
func (d *Decoder) Ask(dst []byte) []byte {
	d.buf, d.answered, d.stray = d.buf[:0], false, false
	return append(dst, d.request...)
}

// Answered reports whether the last request has had its answer.
func (d *Decoder) Answered() bool { return d.answered }

// Unanswered says that the time for the answer is over.
func (d *Decoder) Unanswered(out *wire.Out) {
	if len(d.buf) == 0 {
		out.Refused.Unanswered++
	} else {
		out.Refused.Misshapen++
	}
	d.buf, d.answered = d.buf[:0], true
}

// Reset says that bytes were lost.
func (d *Decoder) Reset() { d.buf, d.answered, d.stray = d.buf[:0], true, false }

// Decode takes the bytes that came next.
func (d *Decoder) Decode(c wire.Chunk, out *wire.Out) {
	for i, b := range c.Bytes {
		if d.answered {
			// Another master on the bus, or the rest of an answer that was
			// given up.
			if !d.stray {
				d.stray = true
				out.Refused.Misshapen++
			}
			return
		}
		if len(d.buf) == longest {
			out.Refused.TooLong++
			d.buf = d.buf[:copy(d.buf, d.buf[longest/2:])]
		}
		d.buf = append(d.buf, b)
		d.look(c.Stamp(i+1), out)
	}
}

// look takes the frame that ends here, if one does.
func (d *Decoder) look(at measure.Stamp, out *wire.Out) {
	if bytes.HasPrefix(d.request, d.buf) {
		if len(d.buf) == len(d.request) {
			d.buf = d.buf[:0] // our own request, given back
		}
		return
	}
	function := d.o.Table.function()
	if f := d.ending(d.answer, function); f != nil && int(f[2]) == d.answer-5 {
		if d.proved(f, out) {
			d.number(f[3:len(f)-2], at, out)
		}
		return
	}
	if f := d.ending(exceptionLength, function|0x80); f != nil && d.proved(f, out) {
		out.Condition(at, d.refusal(f[2]))
	}
}

// ending returns the last n bytes if they begin as a frame of the device.
func (d *Decoder) ending(n int, function byte) []byte {
	if len(d.buf) < n {
		return nil
	}
	f := d.buf[len(d.buf)-n:]
	if f[0] != d.o.Slave || f[1] != function {
		return nil
	}
	return f
}

// proved checks the CRC of a frame and ends the request if it agrees. If not,
// the request is ended all the same where the frame stands alone; after noise it
// may have been noise too, and the wait goes on.
func (d *Decoder) proved(frame []byte, out *wire.Out) bool {
	alone := len(frame) == len(d.buf)
	ok := checked(frame)
	switch {
	case ok && !alone:
		out.Refused.NotANumber++
	case !ok && alone:
		out.Refused.BadChecksum++
		d.stray = true // what comes after it, if it was cut, is counted with it
	}
	d.answered = ok || alone
	return ok
}

// number gives out the reading.
func (d *Decoder) number(data []byte, at measure.Stamp, out *wire.Out) {
	raw := assemble(data, d.o.Order)
	r := measure.Reading{At: at}
	if d.o.Role == Counts {
		r.Has, r.Angle = measure.HasAngle, d.o.Crank.FromCounts(d.counts.next(whole(raw, d.o.Type), d.o.Type))
		out.Add(r)
		return
	}
	v, ok := times(raw, d.o.Type, d.unit)
	switch {
	case !ok:
		out.Refused.NotANumber++
		return
	case d.o.Role == Angle:
		r.Has, r.Angle = measure.HasAngle, d.o.Crank.FromDegrees(measure.Angle(v))
	default:
		r.Has, r.Lift = measure.HasLift, measure.Length(v)
		if d.o.Invert {
			r.Lift = -r.Lift
		}
	}
	out.Add(r)
}

// refusal returns what an exception means for this request, and what to do.
func (d *Decoder) refusal(code byte) string {
	switch code {
	case 1:
		other := Input
		if d.o.Table == Input {
			other = Holding
		}
		return fmt.Sprintf("it has no %v registers to read (exception 1): try table=%v", d.o.Table, other)
	case 2:
		return fmt.Sprintf("it has no %v register %d for a number of type %v (exception 2): look at register=, which counts from 0, and at type=", d.o.Table, d.o.Register, d.o.Type)
	case 3:
		return "it refuses the request (exception 3): look at type= and register="
	case 4:
		return "it failed to read its number (exception 4): look at the device"
	case 5:
		return "it needs longer to answer (exception 5)"
	case 6:
		return "it is busy (exception 6)"
	case 10, 11:
		return fmt.Sprintf("the gateway does not reach bus device %d (exception %d): look at slave= and the cable behind the gateway", d.o.Slave, code)
	}
	return fmt.Sprintf("it answered with exception %d", code)
}
