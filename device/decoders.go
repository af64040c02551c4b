package device

import (
	"errors"
	"fmt"
	"strconv"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// NewDecoder makes the decoder that an address asks for.
func NewDecoder(a Address, o DecoderOptions) (Decoder, error) {
	options := lines.Options{Unit: a.Unit, Scale: a.Scale, Invert: a.Invert, Crank: o.Crank}
	if a.Format == "" {
		return polled(lines.NewFinder(options), a), nil
	}
	if a.Format == "none" {
		return none{}, nil
	}
	f, err := o.Formats.Named(a.Format)
	if err != nil {
		return nil, err
	}
	for _, c := range f.Columns {
		if c.Role == lines.Counts && (o.Crank == nil || o.Crank.Step() == 0) {
			return nil, fmt.Errorf("format %s has counts, and how many make a turn was not said: add counts=, as in counts=2400", f.Name)
		}
	}
	return polled(lines.NewDecoder(f, options), a), nil
}

// polled makes an asking decoder of d, if the address says what to ask.
func polled(d lines.Follower, a Address) Decoder {
	if a.Poll == "" {
		return d
	}
	return lines.NewPolled(d, []byte(a.Poll))
}

// Check reports what would keep a source of a from ever working: a format that
// there is not, counts without their number a turn.
func Check(a Address, o Options) error {
	_, err := makeDecoder(a, o.withDefaults())
	return err
}

func makeDecoder(a Address, o Options) (Decoder, error) {
	crank, err := o.Crank(a)
	if err != nil {
		return nil, err
	}
	return o.Decoder(a, DecoderOptions{Formats: o.Formats, Crank: crank})
}

// plainCrank makes a crank of counts=, on=, offset= and reverse=. It is nil
// when none of them is given.
func plainCrank(a Address) (wire.Crank, error) {
	counts, on, offset, reverse, wrap := a.Value("counts"), a.Value("on"), a.Value("offset"), a.Value("reverse"), a.Value("wrap")
	if counts == "" && on == "" && offset == "" && reverse == "" && wrap == "" {
		return nil, nil
	}
	var c crank
	if counts != "" {
		n, err := strconv.ParseInt(counts, 10, 32)
		if err != nil || n <= 0 {
			return nil, errors.New("counts= must be a whole number, as in counts=2400")
		}
		c.perTurn = n
	}
	c.turn, c.sign = measure.Turn, 1
	if on == "cam" {
		c.turn = measure.Cycle // one turn of the cam is two of the crank
	}
	if reverse == "yes" {
		c.sign = -1
	}
	c.wrap = measure.Turn
	if wrap == "720" {
		c.wrap = measure.Cycle
	}
	if offset != "" {
		a, err := measure.ParseAngle(offset)
		if err != nil {
			return nil, err
		}
		c.offset = a
	}
	return &c, nil
}

// crank is the plain way from counts or printed degrees to crank angle.
type crank struct {
	perTurn      int64
	turn, wrap   measure.Angle
	offset, sign measure.Angle

	turns, last measure.Angle
	started     bool
}

func (c *crank) FromCounts(n int64) measure.Angle {
	if c.perTurn == 0 {
		return 0
	}
	// Whole turns apart, so that the product stays in range and each count's
	// angle is rounded once.
	whole, part := n/c.perTurn, n%c.perTurn
	half := c.perTurn / 2
	if part < 0 {
		half = -half
	}
	a := measure.Angle(whole)*c.turn + (measure.Angle(part)*c.turn+measure.Angle(half))/measure.Angle(c.perTurn)
	return c.sign*a + c.offset
}

func (c *crank) FromDegrees(a measure.Angle) measure.Angle {
	if c.started {
		switch d := a - c.last; {
		case d > c.wrap/2:
			c.turns -= c.wrap
		case d < -c.wrap/2:
			c.turns += c.wrap
		}
	}
	c.last, c.started = a, true
	a += c.turns
	if c.turn == measure.Cycle {
		a *= 2
	}
	return c.sign*a + c.offset
}

func (c *crank) Step() measure.Angle {
	if c.perTurn == 0 {
		return 0
	}
	return c.turn / measure.Angle(c.perTurn)
}
