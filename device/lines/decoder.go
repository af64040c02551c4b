package lines

import (
	"bytes"
	"slices"

	"lobescribe/device/lines/tidy"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Options are what a person said about a device, besides its format.
type Options struct {
	// Unit is the unit of bare numbers; it wins over the format's.
	Unit measure.Unit
	// Scale is the length of one count of a whole number; it wins over the
	// format's.
	Scale measure.Length
	// Invert turns the sign of the lift.
	Invert bool
	// Crank turns counts and printed degrees into crank angle. By default
	// degrees are taken as they stand, with a wrap at 360 undone, and counts
	// are refused, since nobody said how many make a turn.
	Crank wire.Crank
	// Index says that a letter I or Z behind the counts is the encoder's
	// index, whatever the format; a dash stands for none.
	Index bool
	// Port is what sits on the port.
	Port Port
	// Column names the column to take, by its number among those with numbers,
	// counted from 1, or by its name; "" leaves it to the finder.
	Column string
	// Separator parts the columns; 0 leaves it to the finder.
	Separator byte
	// Angle is what a printed angle without a unit counts; it wins over the
	// format's.
	Angle AngleUnit
}

// Port is what a person said that sits on a port.
type Port uint8

// What may sit on a port.
const (
	// AnyPort: nothing was said. A lone number is taken for a lift.
	AnyPort Port = iota
	// IndicatorPort: a lift, and perhaps an angle in the same line.
	IndicatorPort
	// EncoderPort: an angle or counts, and never a lift.
	EncoderPort
)

// Decoder reads lines of one format. It is a pure state machine.
type Decoder struct {
	f       Format
	o       Options
	says    string
	split   splitter
	scratch []byte
	digits  [24]byte // room for a number of sixteen digits
	lift    int      // index of the lift column, or -1
	turn    int      // index of the angle or counts column, or -1
	number  int      // index of the number of the line, or -1
	single  bool
	counts  bool // the turn column is counts
	bare    bool // a line may be a bare number
	// What such a line says, kept here since a number on the stack is cleared
	// for each line; unit and status are never set.
	bareNumber, noTurn number
	assumed            bool // the unit of bare numbers was guessed
	shape              shape
	lastLift           measure.Length
	lastAt             measure.Stamp
	hasLast            bool
	held               doubtful
	period             measure.Stamp  // between readings, usually
	pace               measure.Length // of the fastest movement of late, in nanometres a microsecond
	passed             bool           // the latest line was one to skip
	perAngle           measure.Angle
	owed               int64 // refused, since a Reset came before the line that would have told
	grain              grain
	row                lineNumbers
	plain              []byte // room for a line that is tidied
	saying             []byte // words of the running line, beside its numbers
	firmware           string // as its version line says
	uncounted          bool   // counts came, and nobody said how many make a turn
}

// NewDecoder returns a decoder for f. It panics if f is not valid: a format
// from a person's file has been validated when it was read.
func NewDecoder(f Format, o Options) *Decoder {
	if err := f.Validate(); err != nil {
		panic(err)
	}
	if f.MaxLine == 0 {
		f.MaxLine = MaxLine
	}
	if f.Jump == 0 {
		f.Jump = defaultJump
	}
	d := &Decoder{f: f, o: o, lift: f.lift(), turn: -1, number: -1, single: len(f.Columns) == 1,
		split: splitter{end: f.End, start: f.Start, size: f.Size, max: f.MaxLine, held: make([]byte, 0, f.MaxLine)}}
	if f.DecimalComma {
		d.scratch = make([]byte, f.MaxLine)
	}
	f.Columns = append([]Column(nil), f.Columns...)
	d.f.Columns = f.Columns
	for i := range f.Columns {
		c := &f.Columns[i]
		switch c.Role {
		case Number:
			d.number, d.row.round = i, int64(c.Round)
		case Angle, Counts:
			d.turn, d.counts = i, c.Role == Counts
			d.perAngle = c.Angle.of()
			if c.Angle == NoAngle {
				d.perAngle = o.Angle.of()
			}
			if o.Index {
				c.Status = slices.Concat([]Status{{Text: "I", Index: true}, {Text: "Z", Index: true}, {Text: "-"}}, c.Status)
			}
		case Lift:
			if o.Unit != measure.NoUnit {
				c.Unit = o.Unit
			}
			if o.Scale > 0 {
				c.Scale = o.Scale
			}
			if c.Unit == measure.NoUnit && c.Scale == 0 {
				c.Unit, d.assumed = measure.InMillimetres, true
			}
			d.shape = newShape(c)
		}
	}
	if c := &f.Columns[0]; d.single && d.lift == 0 {
		d.bare = f.Check == NoCheck && !f.DecimalComma && len(c.Tags) == 0 && c.UnitRule != UnitMustFollow && !c.Whole && c.Decimals == 0
	}
	if d.o.Crank == nil {
		d.o.Crank = &unwrap{}
	}
	return d
}

// Decode takes the bytes that came next.
func (d *Decoder) Decode(c wire.Chunk, out *wire.Out) {
	d.begin(out)
	d.split.each(c, out, d.line)
}

// begin counts what a Reset left behind.
func (d *Decoder) begin(out *wire.Out) {
	out.Refused.Misshapen += d.owed
	d.owed = 0
}

// Reset says that bytes were lost.
func (d *Decoder) Reset() {
	d.split.reset()
	if d.held.is {
		d.owed++
	}
	d.hasLast, d.held = false, doubtful{}
	d.row.reset()
}

// BeginsQuiet says that what comes next is the start of a line, since the
// device was silent before.
func (d *Decoder) BeginsQuiet() { d.split.synced = true }

// Found says what is known about the device.
func (d *Decoder) Found() wire.Found {
	f := wire.Found{Settled: true, Format: d.f.Name, Says: d.says, AngleStep: d.o.Crank.Step(), Firmware: d.firmware}
	if f.Says == "" {
		f.Says = d.f.Says
	}
	if d.lift >= 0 {
		f.Unit, f.Assumed = d.shape.unit, d.assumed && !d.shape.told
		f.Resolution = d.grain.step
	}
	if d.turn < 0 {
		f.AngleStep = 0
	}
	return f
}

// line takes one whole line without its end.
func (d *Decoder) line(line []byte, at measure.Stamp, out *wire.Out) {
	if d.bare {
		// The commonest line by far: digits and nothing else.
		var used int
		n := &d.bareNumber
		if n.mantissa, n.decimals, used = scanNumber(line); used == len(line) {
			d.reading(n, &d.noTurn, at, out)
			return
		}
	}
	body := line
	v := taken
	d.passed, d.saying = false, nil
	switch d.f.Check {
	case XorAfterStar:
		body, v = xorAfterStar(line)
	case SixteenDigits:
		body, v = sixteenDigits(line, d.digits[:0])
	}
	var lift, turn, row number
	if v == taken {
		if v = d.numbers(body, &lift, &turn, &row); v != taken {
			if plain, changed := tidy.Line(d.plain, body, scanUnit); changed {
				d.plain, body = plain, plain
				lift, turn, row = number{}, number{}, number{}
				v = d.numbers(body, &lift, &turn, &row)
			}
		}
	}
	if v != taken {
		if v != badChecksum {
			if d.word(body, at, out) {
				if d.passed {
					d.started(at, out)
				}
				return
			}
			if d.number >= 0 && d.wordInPlace(body, at, out) {
				return
			}
		}
		if d.number >= 0 {
			d.row.refused++
		}
		if d.passed = d.skips(body); d.passed {
			return
		}
		refuse(v, out)
		return
	}
	if d.number >= 0 {
		d.row.next(row.mantissa, at, out)
		if words := d.saying; words != nil {
			d.saying = nil
			d.word(words, at, out)
		}
	}
	if s := worse(lift.status, turn.status); s != nil && (s.Says != "" || s.NoReading) {
		if s.Says != "" {
			out.Condition(at, s.Says)
		}
		if s.NoReading {
			return
		}
	}
	d.reading(&lift, &turn, at, out)
}

// numbers reads the columns of a line.
func (d *Decoder) numbers(body []byte, lift, turn, row *number) verdict {
	switch {
	case !d.single:
		return d.columns(body, lift, turn, row)
	case d.lift == 0:
		return d.lastColumn(&d.f.Columns[0], body, lift)
	}
	return d.lastColumn(&d.f.Columns[0], body, turn)
}

// worse returns the status that says more.
func worse(a, b *Status) *Status {
	if a == nil || (a.Says == "" && !a.NoReading && b != nil) {
		return b
	}
	return a
}

// columns reads a line of several columns.
func (d *Decoder) columns(b []byte, lift, turn, row *number) verdict {
	last := len(d.f.Columns) - 1
	for i := range d.f.Columns {
		c := &d.f.Columns[i]
		field, rest := b, []byte(nil)
		if i < last {
			var ok bool
			if field, rest, ok = d.cutField(c, b); !ok {
				return misshapen
			}
		} else if d.f.Separator != ' ' && bytes.IndexByte(b, d.f.Separator) >= 0 {
			return misshapen // a column too many
		}
		v := taken
		switch i {
		case d.lift:
			v = d.lastColumn(c, field, lift)
		case d.turn:
			v = d.lastColumn(c, field, turn)
		case d.number:
			v = d.lastColumn(c, field, row)
		default:
			if d.number >= 0 && len(field) > 0 && letter(field[0]) {
				d.saying = field // words in the place of a figure that nobody wants
			}
		}
		if v != taken {
			return v
		}
		b = rest
	}
	return taken
}

// cutField parts the next column from the rest of the line. Where blanks part
// the columns, a tag or unit may itself be parted from its number by a blank,
// so the column is what its number, unit and status take.
func (d *Decoder) cutField(c *Column, b []byte) (field, rest []byte, ok bool) {
	if d.f.Separator != ' ' {
		i := bytes.IndexByte(b, d.f.Separator)
		if i < 0 {
			return nil, nil, false
		}
		return b[:i], b[i+1:], true
	}
	b = skipBlanks(b)
	var n number
	if after, v := parseColumn(&n, c, b, d.scratch); v == taken {
		return cutWord(b, len(b)-len(afterStatus(c, after))) // with a status that is glued to it
	}
	return cutWord(b, 0)
}

// afterStatus returns what stands behind a status that blanks part from its
// number.
func afterStatus(c *Column, b []byte) []byte {
	if len(b) == 0 || b[0] != ' ' && b[0] != '\t' {
		return b
	}
	rest := skipBlanks(b)
	for i := range c.Status {
		s := c.Status[i].Text
		if n := len(s); n < len(rest) && string(rest[:n]) == s && (rest[n] == ' ' || rest[n] == '\t') {
			return rest[n:]
		}
	}
	return b
}

// cutWord cuts b at the first blank from i on.
func cutWord(b []byte, i int) (field, rest []byte, ok bool) {
	for i < len(b) && b[i] != ' ' && b[i] != '\t' {
		i++
	}
	return b[:i], b[i:], i < len(b)
}

// lastColumn reads a column that nothing may follow but its status.
func (d *Decoder) lastColumn(c *Column, b []byte, n *number) verdict {
	rest, v := parseColumn(n, c, b, d.scratch)
	if v != taken {
		return v
	}
	if rest = trimRight(skipBlanks(rest)); len(rest) > 0 {
		s, known := statusOf(c, rest)
		if !known {
			return notANumber
		}
		n.status = s
		if n.unit == measure.NoUnit {
			n.unit = s.Unit
		}
	}
	switch {
	case c.UnitRule == UnitMustFollow && n.unit == measure.NoUnit && (c.Role != Angle || n.status == nil),
		c.Whole && n.decimals > 0,
		c.Decimals > 0 && n.decimals != c.Decimals && (n.unit == measure.NoUnit || n.unit == c.Unit):
		return misshapen
	}
	return taken
}

func trimRight(b []byte) []byte {
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t') {
		b = b[:len(b)-1]
	}
	return b
}

func refuse(v verdict, out *wire.Out) {
	switch v {
	case misshapen:
		out.Refused.Misshapen++
	case badChecksum:
		out.Refused.BadChecksum++
	default:
		out.Refused.NotANumber++
	}
}
