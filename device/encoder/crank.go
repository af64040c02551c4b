package encoder

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strconv"

	"lobescribe/device/measure"
)

// Options are what is known of an encoder. The zero value is a board on the
// crank that prints degrees.
type Options struct {
	// Counts is the number of counts a turn of the shaft, after 4x: four times
	// the lines. 0 means that the board prints degrees.
	Counts int64
	// OnCam says that the shaft is the cam, or turns with it.
	OnCam bool
	// Reverse says that it counts down as the engine turns forward.
	Reverse bool
	// Offset is the crank angle at which it says zero, counted from TDC.
	Offset measure.Angle
	// Wrap is the turning of the shaft after which its number starts again,
	// whether it prints degrees or counts: [measure.Turn] or [measure.Cycle].
	// 0 means that it is found.
	Wrap measure.Angle
}

// Parse reads the keys counts, on, reverse, offset and wrap of an address, as
// value gives them. It is nil and no error when none is given.
func Parse(value func(key string) string) (*Crank, error) {
	counts, on, reverse, offset, wrap := value("counts"), value("on"), value("reverse"), value("offset"), value("wrap")
	if counts == "" && on == "" && reverse == "" && offset == "" && wrap == "" {
		return nil, nil
	}
	o := Options{OnCam: on == "cam", Reverse: reverse == "yes"}
	if counts != "" {
		n, err := strconv.ParseInt(counts, 10, 32)
		if err != nil || n <= 0 {
			return nil, errors.New("counts= must be a whole number, as in counts=2400")
		}
		o.Counts = n
	}
	if offset != "" {
		a, err := measure.ParseAngle(offset)
		if err != nil {
			return nil, fmt.Errorf("offset=: %w", err)
		}
		o.Offset = a
	}
	switch wrap {
	case "360":
		o.Wrap = measure.Turn
	case "720":
		o.Wrap = measure.Cycle
	}
	return New(o)
}

// Crank turns counts or printed degrees into crank angle, which grows without
// end. It keeps the last number, so one Crank serves one stream. The zero value
// is not usable.
type Crank struct {
	counts int64
	turn   measure.Angle // of the crank, a turn of the shaft
	sign   int64
	offset measure.Angle

	number  unwinder // of counts
	degrees unwinder // of microdegrees
	index   index
	at      int64 // the count of the latest number, starts undone
}

// New returns a Crank that has seen nothing. The error says what in o cannot be.
func New(o Options) (*Crank, error) {
	switch {
	case o.Counts < 0 || o.Counts > math.MaxInt32:
		return nil, fmt.Errorf("an encoder of %d counts a turn: write the number after 4x, as in 2400", o.Counts)
	case o.Wrap != 0 && o.Wrap != measure.Turn && o.Wrap != measure.Cycle:
		return nil, fmt.Errorf("an encoder whose number starts again after %v: it does so after 360 or 720 deg", o.Wrap)
	}
	c := &Crank{counts: o.Counts, turn: measure.Turn, sign: 1, offset: o.Offset}
	if o.OnCam {
		c.turn = measure.Cycle
	}
	if o.Reverse {
		c.sign = -1
	}
	c.number.periods = []int64{1 << 16, 1 << 24, 1 << 32}
	if o.Counts > 0 {
		c.number.periods = append(c.number.periods, o.Counts)
		slices.Sort(c.number.periods)
	}
	c.degrees.periods = []int64{int64(measure.Turn), int64(measure.Cycle)}
	if o.Wrap != 0 {
		c.degrees.periods, c.degrees.told = []int64{int64(o.Wrap)}, true
		if o.Counts > 0 {
			c.number.periods, c.number.told = []int64{o.Counts * int64(o.Wrap/measure.Turn)}, true
		}
	}
	return c, nil
}

// FromCounts takes the number as the board printed it and returns the crank
// angle. Without the counts a turn it means nothing, and is 0.
func (c *Crank) FromCounts(printed int64) measure.Angle {
	if c.counts == 0 {
		return 0
	}
	before, started := c.at, c.number.started
	c.at = c.number.next(printed)
	c.index.pass(before, c.at, started)
	return c.angleOf(c.at)
}

// angleOf returns the crank angle of a count, rounded once, half away from
// zero. A count further than 2^53 microdegrees from zero, which is 25
// million turns, stands for that.
func (c *Crank) angleOf(count int64) measure.Angle {
	negative := count < 0
	n := uint64(count)
	if negative {
		n = -n
	}
	hi, lo := bits.Mul64(n, uint64(c.turn))
	lo, carry := bits.Add64(lo, uint64(c.counts)/2, 0)
	hi += carry
	const furthest = 1 << 53
	a := int64(furthest)
	if hi < uint64(c.counts) {
		if q, _ := bits.Div64(hi, lo, uint64(c.counts)); q < furthest {
			a = int64(q)
		}
	}
	if negative {
		a = -a
	}
	return measure.Angle(c.sign*a) + c.offset
}

// FromDegrees takes an angle of the shaft as the board printed it and returns
// the crank angle.
func (c *Crank) FromDegrees(printed measure.Angle) measure.Angle {
	a := c.degrees.next(int64(printed))
	a *= int64(c.turn / measure.Turn)
	return measure.Angle(c.sign*a) + c.offset
}

// Step returns the crank angle of one count, rounded to the microdegree; 0 for
// a board that prints degrees.
func (c *Crank) Step() measure.Angle {
	if c.counts == 0 {
		return 0
	}
	return (c.turn + measure.Angle(c.counts)/2) / measure.Angle(c.counts)
}

// Says tells in words what the encoder is, for the page.
func (c *Crank) Says() string {
	shaft := "crank"
	if c.turn == measure.Cycle {
		shaft = "cam"
	}
	s := "degrees of the " + shaft
	if c.counts > 0 {
		s = fmt.Sprintf("%d counts a turn of the %s, %v of crank each", c.counts, shaft, c.Step())
	}
	if c.sign < 0 {
		s += ", counting down as the engine turns"
	}
	return s
}
