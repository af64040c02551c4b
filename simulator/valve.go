package simulator

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// Valve is one valve with the lobe and rocker that work it.
type Valve struct {
	Name string // "intake 1"; empty

	Lobe   Lobe
	Rocker Rocker

	// Lash is the gap between rocker and valve on the heel: the tip moves so
	// far before the valve does. None by default.
	Lash measure.Length

	// NoseAt is the crank angle of the lobe's nose after the top dead centre
	// of the engine's first cylinder; 110 degrees.
	NoseAt measure.Angle
}

func (v Valve) withDefaults() Valve {
	v.Lobe = v.Lobe.withDefaults()
	v.Rocker = v.Rocker.withDefaults(v.Lobe.Lift)
	v.NoseAt = orDefault(v.NoseAt, 110*measure.Degree)
	return v
}

// MaxLift returns the valve's highest lift, lash taken off.
func (v Valve) MaxLift() (measure.Length, error) {
	t, err := v.train()
	if err != nil {
		return 0, err
	}
	return fromMM(t.max), nil
}

// LiftAt returns the valve's lift at a crank angle from the nose.
func (v Valve) LiftAt(fromNose measure.Angle) (measure.Length, error) {
	t, err := v.train()
	if err != nil {
		return 0, err
	}
	return fromMM(t.liftFromNose(fromNose.Degrees())), nil
}

// HalfLift returns the crank angles from the nose where the valve passes half
// of its highest lift, solved to 1e-9 degrees.
func (v Valve) HalfLift() (opening, closing measure.Angle, err error) {
	t, err := v.train()
	if err != nil {
		return 0, 0, err
	}
	return fromDeg(t.halfOpening), fromDeg(t.halfClosing), nil
}

// train is a Valve made ready for the mathematics: millimetres, and crank
// degrees from the nose.
type train struct {
	lobe   Lobe
	link   linkage
	lash   float64
	noseAt float64 // crank degrees of the engine

	max                      float64 // highest lift
	open, close              float64 // where the lift begins and ends
	noseFrom, noseTo         float64 // where it is highest
	halfOpening, halfClosing float64
}

func (v Valve) train() (*train, error) {
	v = v.withDefaults()
	if err := v.Lobe.check(); err != nil {
		return nil, fmt.Errorf("valve %q: %w", v.Name, err)
	}
	if err := v.Rocker.check(v.Lobe.Lift); err != nil {
		return nil, fmt.Errorf("valve %q: %w", v.Name, err)
	}
	t := &train{lobe: v.Lobe, link: v.Rocker.linkage(), lash: v.Lash.Millimetres(), noseAt: v.NoseAt.Degrees()}
	t.max = t.link.drop(v.Lobe.Lift.Millimetres()) - t.lash
	if v.Lash < 0 || t.max <= 0 {
		return nil, fmt.Errorf("valve %q: a lash of %v leaves no lift", v.Name, v.Lash)
	}
	d := v.Lobe.Dwell.Degrees() // twice the half dwell of the cam
	t.noseFrom, t.noseTo = -d, d
	open, close := v.Lobe.span()
	t.open, t.close = t.passes(2*open, t.noseFrom, 0), t.passes(2*close, t.noseTo, 0)
	t.halfOpening = t.passes(2*open, t.noseFrom, t.max/2)
	t.halfClosing = t.passes(2*close, t.noseTo, t.max/2)
	return t, nil
}

// passes returns where the flank from heel to nose passes a lift. Without lash
// the lift begins where the lobe does, by definition: a root would be lost in
// the flat start of the law.
func (t *train) passes(heel, nose, lift float64) float64 {
	if lift == 0 && t.lash == 0 {
		return heel
	}
	return root(heel, nose, func(crank float64) float64 { return t.tipFromNose(crank) - t.lash - lift })
}

// tipFromNose returns the tip's way down at crank degrees from the nose.
func (t *train) tipFromNose(crank float64) float64 { return t.link.drop(t.lobe.at(crank / 2)) }

// liftFromNose returns the valve's lift at crank degrees from the nose, which
// may be any number of cycles away.
func (t *train) liftFromNose(crank float64) float64 {
	crank -= 720 * math.Round(crank/720)
	if crank <= t.open || crank >= t.close {
		return 0
	}
	return within(0, t.max, t.tipFromNose(crank)-t.lash)
}

// lift returns the valve's lift at a crank angle of the engine.
func (t *train) lift(crank float64) float64 { return t.liftFromNose(crank - t.noseAt) }
