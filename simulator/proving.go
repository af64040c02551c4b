package simulator

import (
	"fmt"
	"math"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// Proving is somebody who proves an indicator: the spindle hangs free, is pressed
// home, is put on the retainer, snaps onto it, and has the retainer come to it
// from below. Its zero value is a good inch indicator of an inch of travel.
type Proving struct {
	Seed      uint64
	Indicator Indicator // its preload is what it shows on the retainer; no slips, zeros, switches or losses

	Travel measure.Length // between the stops; 25.4 mm
	// Out is how far the spindle could still run out from the retainer; 15 mm.
	Out measure.Length
	// Averages is the time constant of a figure that is mixed with the last;
	// none.
	Averages measure.Stamp
	// Sticks is the play between the two directions; none.
	Sticks measure.Length
	Snaps  int // 4, so that one may be missed
	// OneSided leaves out the retainer that comes from below.
	OneSided bool
	// NoWire leaves the bytes out.
	NoWire bool
}

// Proved is what a proving came to, and the truth.
type Proved struct {
	Trace     measure.Trace
	Indicator []Chunk
	// Hangs and Home are what it shows at the stops without step and play.
	Hangs, Home measure.Length
	End         measure.Stamp
}

// How it is done, in seconds and millimetres; invented.
const (
	provingStep = 0.001
	provingRest = 1.6
	gravity     = 9.81e3 // mm/s²
	springPull  = 25e3   // of the spindle's spring on its own mass, mm/s²
)

func (p Proving) withDefaults() Proving {
	p.Indicator = p.Indicator.withDefaults()
	p.Travel = orDefault(p.Travel, measure.Inch)
	p.Out = orDefault(p.Out, 15*measure.Millimetre)
	p.Snaps = orDefault(p.Snaps, 4)
	return p
}

// Play works the proving out. It is pure.
func (p Proving) Play() (*Proved, error) {
	p = p.withDefaults()
	if err := p.Indicator.check(); err != nil {
		return nil, err
	}
	switch {
	case p.Out <= measure.Millimetre || p.Travel-p.Out < 4*measure.Millimetre:
		return nil, fmt.Errorf("a travel of %v with %v of it left to run out: leave 1 mm at least, and 4 mm to lift the spindle", p.Travel, p.Out)
	case p.Indicator.Format.has("{angle}") || p.Indicator.Format.has("{count}"):
		return nil, fmt.Errorf("line format %q carries an angle, and nobody turns the engine while an indicator is proved: take another --line", p.Indicator.Format.Name)
	case p.Averages < 0 || p.Sticks < 0 || p.Snaps < 0 || p.Snaps > 1000:
		return nil, fmt.Errorf("proving: what it averages over, sticks by and snaps cannot be below zero, nor 1000 snaps be exceeded")
	}
	way := p.way(rand.New(rand.NewPCG(p.Seed, streamHand)))
	out := &Proved{End: fromSec(float64(len(way)) * provingStep)}
	base := p.Indicator.Preload - p.Out
	out.Hangs, out.Home = base, base+p.Travel
	p.read(out, p.shown(way, base.Millimetres()))
	return out, nil
}

// spindleHand moves the spindle: how far it is in, in millimetres.
type spindleHand struct {
	rng *rand.Rand
	at  float64
	way []float64
}

func (h *spindleHand) rest(seconds float64) {
	for range int(seconds / provingStep) {
		h.way = append(h.way, h.at)
	}
}

// move goes there smoothly; a finger trembles, a retainer does not.
func (h *spindleHand) move(to, seconds float64, finger bool) {
	n, from := int(seconds/provingStep), h.at
	phase := 2 * math.Pi * h.rng.Float64()
	for i := range n {
		part := float64(i) / float64(n)
		x := from + (to-from)*(1-math.Cos(math.Pi*part))/2
		if finger {
			x += 0.04 * math.Sin(2*math.Pi*9*float64(i)*provingStep+phase) * math.Sin(math.Pi*part)
		}
		h.way = append(h.way, x)
	}
	h.at = to
}

// fall lets it go.
func (h *spindleHand) fall(to float64) {
	height := h.at - to
	for i := 1; ; i++ {
		t := float64(i) * provingStep
		fallen := (gravity + springPull) / 2 * t * t
		if fallen >= height {
			break
		}
		h.way = append(h.way, h.at-fallen)
	}
	h.at = to
}

func (p Proving) way(rng *rand.Rand) []float64 {
	between := func(least, most float64) float64 { return least + (most-least)*rng.Float64() }
	rest := provingRest + 5*p.Averages.Seconds() + 5/p.Indicator.Rate
	h := &spindleHand{rng: rng}
	h.rest(rest)
	h.move(p.Travel.Millimetres(), between(0.7, 1.2), true)
	h.rest(rest)
	retainer := p.Out.Millimetres()
	h.move(retainer, between(0.8, 1.2), true)
	h.rest(rest)
	for range p.Snaps {
		h.move(retainer+between(1.8, 3.6), between(0.4, 0.8), true)
		h.fall(retainer)
		h.rest(rest)
	}
	if !p.OneSided {
		h.move(retainer-min(1, retainer/2), between(0.5, 0.8), false)
		h.move(retainer, between(0.5, 0.8), false)
		h.rest(rest)
	}
	return h.way
}

// shown makes of the spindle's way what the gauge would show without steps.
func (p Proving) shown(way []float64, base float64) []float64 {
	out := make([]float64, len(way))
	play, stands := p.Sticks.Millimetres()/2, way[0]
	mean, share := way[0], 1.0
	if p.Averages > 0 {
		share = 1 - math.Exp(-provingStep/p.Averages.Seconds())
	}
	for i, x := range way {
		stands = min(max(stands, x-play), x+play)
		mean += share * (stands - mean)
		out[i] = base + mean
	}
	return out
}

// read takes the readings and sends them.
func (p Proving) read(to *Proved, shown []float64) {
	n := p.Indicator
	format, err := n.Format.compile()
	if err != nil {
		panic(err) // it was checked
	}
	chance := rand.New(rand.NewPCG(p.Seed, streamIndicator))
	end := to.End.Seconds()
	wire := newSender(n.Wire, format.End, rand.New(rand.NewPCG(p.Seed, streamWire)), int(end*n.Rate)+2)
	to.Trace.Resolution = n.Resolution
	var line []byte
	for ticks, t := newClock(n.Rate, n.Jitter, chance), 0.0; ; {
		if t = ticks.next(); t >= end {
			break
		}
		if !wire.free(t) {
			continue
		}
		i := min(max(int((t-n.Delay.Seconds())/provingStep), 0), len(shown)-1)
		mm := shown[i] + n.Noise.Millimetres()*chance.NormFloat64()
		lift := measure.Length(roundToCount(mm, n.Resolution)) * n.Resolution
		if !p.NoWire {
			line = format.appendLine(line[:0], said{lift: lift, resolution: n.Resolution, unit: n.Unit})
			wire.send(t, line, len(to.Trace.Readings))
		}
		to.Trace.Readings = append(to.Trace.Readings, measure.Reading{At: fromSec(t), Lift: lift, Has: measure.HasLift})
	}
	if !p.NoWire {
		to.Indicator = wire.chunks()
	}
}
