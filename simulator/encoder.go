package simulator

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// Encoder is an incremental encoder with the small board that counts its edges.
type Encoder struct {
	Counts   int           // edges a turn of its shaft (4 times the lines); 2400
	OnCam    bool          // it sits on the cam, so that a count is two crank angles' worth
	Reversed bool          // it counts down as the engine turns forward
	Start    measure.Angle // the crank angle it shows at the start; 0
	Rate     float64       // lines a second on its own wire; 100
	Delay    measure.Stamp // by how much a count is older than its moment; none
	Index    bool          // {index} shows I on the first line after each turn of its shaft
	Wraps    bool          // the board counts 0 to Counts-1 and starts again
	Format   Format        // CountOnly
	Wire     Wire
	Lost     []Loss // nothing comes through; never
}

func (e Encoder) withDefaults() Encoder {
	e.Counts = orDefault(e.Counts, 2400)
	e.Rate = orDefault(e.Rate, 100)
	if e.Format.Layout == "" {
		e.Format = CountOnly()
	}
	return e
}

func (e Encoder) check() error {
	switch {
	case e.Counts < 4 || e.Counts > 10_000_000:
		return fmt.Errorf("encoder of %d counts a turn: write 4 to 10 million", e.Counts)
	case e.Rate < 0.1 || e.Rate > 10_000 || math.IsNaN(e.Rate):
		return fmt.Errorf("encoder of %v lines a second: write 5 to 1000", e.Rate)
	case e.Delay < 0:
		return fmt.Errorf("encoder delay of %v: it cannot be below zero", e.Delay)
	}
	return e.Format.check()
}

// Step returns the crank angle a count, rounded to the microdegree.
func (e Encoder) Step() measure.Angle {
	e = e.withDefaults()
	return fromDeg(e.shaft() * 360 / float64(e.Counts))
}

// shaft is how many crank turns its shaft takes a turn.
func (e Encoder) shaft() float64 {
	if e.OnCam {
		return 2
	}
	return 1
}

// counter turns engine crank degrees into counts.
type counter struct {
	counts int
	sign   float64
	start  float64 // crank degrees shown at origin
	origin float64 // engine crank degrees at the start
	per    float64 // counts a crank degree
	phase  float64 // where between two edges it stood at the start
	wraps  bool
}

func (e Encoder) newCounter(origin, phase float64) *counter {
	c := &counter{counts: e.Counts, sign: 1, start: e.Start.Degrees(), origin: origin, per: float64(e.Counts) / 360 / e.shaft(), phase: phase, wraps: e.Wraps}
	if e.Reversed {
		c.sign = -1
	}
	return c
}

// perfect returns the crank degrees shown by an encoder without steps.
func (c *counter) perfect(crank float64) float64 { return c.start + c.sign*(crank-c.origin) }

// count returns the edges counted. The edges lie anywhere against the start,
// and the count changes at an edge: half a count wrong on average.
func (c *counter) count(crank float64) int64 {
	return int64(math.Floor(c.perfect(crank)*c.per + c.phase))
}

// angle returns the crank degrees that a count stands for.
func (c *counter) angle(count int64) float64 { return float64(count) / c.per }

// sent returns the count as the board prints it.
func (c *counter) sent(count int64) int64 {
	if !c.wraps {
		return count
	}
	n := int64(c.counts)
	return (count%n + n) % n
}
