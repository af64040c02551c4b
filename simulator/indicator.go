package simulator

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"lobescribe/device/measure"
)

// Indicator is a digital indicator on the valve's retainer, and what is wrong
// with it and its stand. It runs free: it takes a reading Rate times a second
// and sends each one that finds the wire free.
type Indicator struct {
	Rate       float64        // readings a second, 5 to 1000; 50
	Jitter     float64        // how far readings come early or late, as a part of the period up to 0.4; none
	Unit       measure.Unit   // InInches
	Resolution measure.Length // 0.0005 in, or 0.01 mm in metric

	// SpindleIn is true where the spindle goes in (and the reading up) as the
	// valve opens. Over a retainer it usually runs out, which is the default.
	SpindleIn bool
	// Preload is what it shows on the heel at the start, of either sign; 0.
	Preload measure.Length
	// Noise is the standard deviation of a reading before it is rounded to the
	// resolution; none.
	Noise measure.Length
	// Delay is by how much a reading is older than its moment: filtering in the
	// instrument; none.
	Delay measure.Stamp

	// TravelLeft is the spindle's travel before it stops in the valve's
	// direction: beyond it the reading stays flat. 0 for enough.
	TravelLeft measure.Length
	// NoContact is the first part of the lift that the spindle does not feel,
	// since it hangs free on the heel; none.
	NoContact measure.Length
	// Lean is the spindle's angle to the valve on a flat face square to the
	// motion: it moves 1/cos(Lean) too far; none.
	Lean measure.Angle

	Slips    []Slip          // the base moves; none
	ReZeros  []measure.Stamp // somebody presses zero; never
	Switches []measure.Stamp // somebody changes between inch and metric; never
	Lost     []Loss          // nothing comes through; never

	Format Format // NumberAndUnit
	Wire   Wire
}

// Slip is the indicator's base moving, so that all readings change by By.
type Slip struct {
	At measure.Stamp
	By measure.Length
}

// Loss is a cable out for a time.
type Loss struct{ At, For measure.Stamp }

func (n Indicator) withDefaults() Indicator {
	n.Rate = orDefault(n.Rate, 50)
	n.Unit = orDefault(n.Unit, measure.InInches)
	if n.Resolution == 0 {
		n.Resolution = measure.Thou / 2
		if n.Unit == measure.InMillimetres || n.Unit == measure.InMicrometres {
			n.Resolution = 10 * measure.Micrometre
		}
	}
	if n.Format.Layout == "" {
		n.Format = NumberAndUnit()
	}
	return n
}

func (n Indicator) check() error {
	switch {
	case n.Rate < 0.1 || n.Rate > 10_000 || math.IsNaN(n.Rate):
		return fmt.Errorf("indicator of %v readings a second: write 5 to 1000", n.Rate)
	case n.Jitter < 0 || n.Jitter > 0.4:
		return fmt.Errorf("indicator jitter of %v: write 0 to 0.4 of a period", n.Jitter)
	case n.Resolution <= 0 || n.Unit.Length() == 0:
		return fmt.Errorf("indicator with a resolution of %v in unit %d: both must be given", n.Resolution, n.Unit)
	case n.Noise < 0 || n.Delay < 0 || n.TravelLeft < 0 || n.NoContact < 0:
		return fmt.Errorf("indicator: noise, delay, travel and free play cannot be below zero")
	case n.Lean.Degrees() > 60 || n.Lean < 0:
		return fmt.Errorf("indicator leaning by %v: write 0 to 60 deg", n.Lean)
	}
	for _, l := range n.Lost {
		if l.For <= 0 {
			return fmt.Errorf("indicator lost at %v for %v: it must last some time", l.At, l.For)
		}
	}
	return n.Format.check()
}

// bareness returns what an address must say of lines that do not: the unit of
// a bare number, the length of a whole count.
func (n Indicator) bareness() string {
	switch {
	case n.Format.WholeCounts:
		return "&scale=" + n.Resolution.Decimal(measure.InMillimetres, 6) + "mm"
	case n.Format.Step > 0:
		return "&scale=" + n.Format.Step.Decimal(measure.InMillimetres, 6) + "mm"
	case n.Format.SaysUnit():
		return ""
	}
	return "&unit=" + n.Unit.String()
}

// otherUnit returns the unit and resolution after a switch: inch against
// metric, with the nearest of the usual steps that is not coarser by more than
// a tenth (0.0005 in and 0.01 mm, 0.00005 in and 0.001 mm).
func otherUnit(unit measure.Unit, resolution measure.Length) (measure.Unit, measure.Length) {
	to, steps := measure.InMillimetres, []measure.Length{1000, 2000, 5000, 10_000, 20_000}
	if unit == measure.InMillimetres || unit == measure.InMicrometres {
		to, steps = measure.InInches, []measure.Length{1270, 2540, 5080, 12_700, 25_400}
	}
	best := steps[0]
	for _, s := range steps {
		if math.Abs(math.Log(float64(s)/float64(resolution))) < math.Abs(math.Log(float64(best)/float64(resolution))) {
			best = s
		}
	}
	return to, best
}

// display is the indicator's zero over time and the way from valve to spindle.
type display struct {
	sign, stop, free, lean float64
	steps                  []zeroStep
}

// zeroStep is what is added to the spindle's travel from t on, in millimetres.
type zeroStep struct{ t, offset float64 }

// newDisplay works out the zero; lift gives the valve's lift over time.
func (n Indicator) newDisplay(lift func(t float64) float64) *display {
	d := &display{sign: -1, stop: math.Inf(1), free: n.NoContact.Millimetres(), lean: 1 / math.Cos(radians(n.Lean.Degrees()))}
	if n.SpindleIn {
		d.sign = 1
	}
	if n.TravelLeft > 0 {
		d.stop = n.TravelLeft.Millimetres()
	}
	offset := n.Preload.Millimetres() - d.sign*d.travel(0)
	d.steps = []zeroStep{{math.Inf(-1), offset}}
	type change struct {
		at measure.Stamp
		by float64
		to bool // zero
	}
	var changes []change
	for _, s := range n.Slips {
		changes = append(changes, change{s.At, s.By.Millimetres(), false})
	}
	for _, at := range n.ReZeros {
		changes = append(changes, change{at, 0, true})
	}
	slices.SortStableFunc(changes, func(a, b change) int { return int(min(max(a.at-b.at, -1), 1)) })
	for _, c := range changes {
		t := c.at.Seconds()
		if c.to {
			offset = -d.sign * d.travel(lift(t))
		} else {
			offset += c.by
		}
		d.steps = append(d.steps, zeroStep{t, offset})
	}
	return d
}

// travel returns how far the spindle has moved at a lift, in millimetres.
func (d *display) travel(lift float64) float64 {
	return min(max(lift-d.free, 0)*d.lean, d.stop)
}

// at returns the reading at a time and lift, in millimetres.
func (d *display) at(t, lift float64) float64 {
	i := len(d.steps) - 1
	for d.steps[i].t > t {
		i--
	}
	return d.sign*d.travel(lift) + d.steps[i].offset
}

// clock gives the moments of a free-running instrument: a phase of its own, a
// fixed rate, and jitter.
type clock struct {
	phase, period, jitter float64
	rng                   *rand.Rand
	k                     int
}

func newClock(rate, jitter float64, rng *rand.Rand) *clock {
	return &clock{phase: rng.Float64() / rate, period: 1 / rate, jitter: jitter / rate, rng: rng}
}

func (c *clock) next() float64 {
	t := c.phase + float64(c.k)*c.period
	c.k++
	if c.jitter > 0 {
		t += c.jitter * (2*c.rng.Float64() - 1)
	}
	// On a whole microsecond, as a Stamp holds it.
	return max(math.Round(t*1e6)/1e6, 0)
}
