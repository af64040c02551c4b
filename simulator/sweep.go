package simulator

import (
	"fmt"
	"math"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// SweepGauge is a second gauge, across the stem in the rocker's plane: its flat tip
// lies against the round of the rocker's tip, or in a reference pass against the
// side of what travels along the stem. It needs a rocker with a ValveArm.
//
// With the tip out cos(theta) and down a sin(theta) from the pivot, and the gauge
// Tilt off square to the stem, it shows
//
//	Preload + cos(Tilt) (out - out on the heel) - sin(Tilt) (down - down on the heel)
//
// and the roller's run-out, half of it times the sine of how far the roller has
// turned, which is as far as the rocker. Against the side it shows -sin(Tilt) times
// the lift, the side's taper, and what of its run-out comes round while it turns.
type SweepGauge struct {
	// Gauge is the instrument: its rate, unit, resolution, noise, delay, preload and
	// wire count, its place on the valve does not. Default 0.001 mm, in mm.
	Gauge Indicator

	Side    bool          // it lies against the side; default: the rocker's tip
	Tilt    measure.Angle // how far it stands off square to the stem; none
	Inwards bool          // its reading falls as the tip goes out

	RollerRunOut measure.Length // total, of the tip's roller; none
	RunOut       measure.Length // total, of the side; none
	Turns        measure.Angle  // how far the side turns from the closed valve to full lift; none
	Taper        measure.Angle  // of the side against the valve's travel; none
	Phase        measure.Angle  // where roller and side stand on the heel; 0
}

func (g SweepGauge) withDefaults() SweepGauge {
	if g.Gauge.Resolution == 0 {
		g.Gauge.Unit, g.Gauge.Resolution = measure.InMillimetres, measure.Micrometre
	}
	g.Gauge = g.Gauge.withDefaults()
	return g
}

func (g SweepGauge) check(t *train) error {
	switch {
	case t.link.a == 0:
		return fmt.Errorf("a sweep gauge on a rocker of plain ratio: give the rocker its ValveArm")
	case g.Tilt.Degrees() > 30 || g.Tilt.Degrees() < -30:
		return fmt.Errorf("sweep gauge %v off square: write -30 to 30 deg", g.Tilt)
	case g.RollerRunOut < 0 || g.RunOut < 0:
		return fmt.Errorf("sweep gauge: a run-out cannot be below zero")
	}
	if err := g.Gauge.check(); err != nil {
		return fmt.Errorf("sweep gauge: %w", err)
	}
	return g.Gauge.Wire.Mischief.check()
}

// shows returns what it would show without noise or steps, in millimetres, at
// crank degrees of the engine.
func (g SweepGauge) shows(t *train, crank float64) float64 {
	sin, cos := math.Sincos(radians(g.Tilt.Degrees()))
	phase, v := radians(g.Phase.Degrees()), t.lift(crank)
	var s float64
	if g.Side {
		turned := radians(g.Turns.Degrees()) * v / t.max
		s = -v*sin + v*math.Tan(radians(g.Taper.Degrees())) + g.RunOut.Millimetres()/2*(math.Sin(phase+turned)-math.Sin(phase))
	} else {
		theta := t.theta(crank)
		out, up := t.link.tip(theta)
		outClosed, upClosed := t.link.tip(t.link.closed)
		s = cos*(out-outClosed) + sin*(up-upClosed)
		s += g.RollerRunOut.Millimetres() / 2 * (math.Sin(phase+theta-t.link.closed) - math.Sin(phase))
	}
	if g.Inwards {
		s = -s
	}
	return s + g.Gauge.Preload.Millimetres()
}

// theta returns the lever's angle at a crank angle of the engine.
func (t *train) theta(crank float64) float64 {
	crank -= t.noseAt
	crank -= 720 * math.Round(crank/720)
	return t.link.theta(t.lobe.at(crank / 2))
}

// SquareAt returns the valve's lift at which the rocker's arm is square to the
// stem; also where it never gets there. The error says what cannot be.
func (v Valve) SquareAt() (measure.Length, error) {
	t, err := v.train()
	if err != nil {
		return 0, err
	}
	if t.link.a == 0 {
		return 0, fmt.Errorf("valve %q: a rocker of plain ratio has no arm to be square", v.Name)
	}
	return fromMM(-t.link.closedHeight - t.lash), nil
}

// Raised returns the valve with its rocker's stand raised by so much, under a
// pushrod made to fit.
func (v Valve) Raised(by measure.Length) (Valve, error) {
	v = v.withDefaults()
	t, err := v.train()
	if err != nil {
		return v, err
	}
	if t.link.a == 0 {
		return v, fmt.Errorf("valve %q: a rocker of plain ratio has no height", v.Name)
	}
	v.Rocker.ClosedAngle = fromDeg(degrees(math.Asin(within(-1, 1, (t.link.closedHeight+by.Millimetres())/t.link.a))))
	v.Rocker.Square = v.Rocker.ClosedAngle == 0
	_, err = v.train()
	return v, err
}

// readSweep takes the sweep gauge's readings and sends them.
func (p *player) readSweep(chance, wireChance *rand.Rand) {
	g := p.gauge
	format, err := g.Gauge.Format.compile()
	if err != nil {
		panic(err) // it was checked
	}
	end := p.Truth.End.Seconds()
	expect := int(end*g.Gauge.Rate) + 2
	p.Sweeps = make([]measure.Reading, 0, expect)
	wire := newSender(g.Gauge.Wire, format.End, wireChance, expect)
	ticks := newClock(g.Gauge.Rate, g.Gauge.Jitter, chance)
	hand := cursor{p: p.Truth.path}
	stands, shows := math.NaN(), 0.0
	var line []byte
	for t := ticks.next(); t <= end; t = ticks.next() {
		noise := 0.0
		if g.Gauge.Noise > 0 {
			noise = chance.NormFloat64() * g.Gauge.Noise.Millimetres()
		}
		if !wire.free(t) {
			continue
		}
		if crank := hand.at(t - g.Gauge.Delay.Seconds()); crank != stands {
			stands, shows = crank, g.shows(p.Truth.train, crank)
		}
		shown := measure.Length(roundToCount(shows+noise, g.Gauge.Resolution)) * g.Gauge.Resolution
		if !p.noWire {
			line = format.appendLine(line[:0], said{lift: shown, resolution: g.Gauge.Resolution, unit: g.Gauge.Unit})
			wire.send(t, line, len(p.Sweeps))
		}
		p.Sweeps = append(p.Sweeps, measure.Reading{At: fromSec(t), Sweep: shown, Has: measure.HasSweep})
	}
	p.Sweep, p.SweepLines = wire.chunks(), wire.lines
}
