// Package question turns what is stored of an engine into the questions that
// the calculations ask: which ratio and lash a trace was measured with, what
// the cam card says, which trials there were. What the documents do not say is
// left out, so that the calculation's own default, and its note of it, stands.
package question

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/capture/timing"
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Documents are where engines and trials stand.
type Documents interface {
	Engine(id string) (storage.Engine, error)
	Trial(id string) (storage.Trial, error)
}

// Timing says how a trace was measured: the ratio of its engine, the encoder's
// count at top dead centre that was set down for it and its uncertainty, the lash of its trial or
// else of the card. kind overrides the kind that the trace's
// valve has by its name. What cannot be looked up is left at its default: the
// timing at the valve does not hang on it.
func Timing(d Documents, h storage.Head, kind valve.Kind) timing.Options {
	o := timing.Options{Valve: kind}
	if o.Valve == "" {
		o.Valve = valve.KindOf(h.Valve)
	}
	if e, err := d.Engine(h.Engine); err == nil {
		o.Ratio = e.RockerRatio.Of(o.Valve)
		if e.TDC != nil {
			o.TDC, o.TDCU = e.TDC.Angle, e.TDC.U
		}
		o.Lash = e.CamCard.Lash().Of(o.Valve)
	}
	if t, err := d.Trial(h.Trial); err == nil && t.Lash != 0 {
		o.Lash = t.Lash
	}
	return o
}

// CamCard asks for a comparison with an engine's card; nil when there are no
// events on it. They are counted at the lobe, as cards do, and the card's max lifts
// at the valve,
// where the lash is still to be taken off them (common practice, no source).
func CamCard(e storage.Engine) *timing.CardInput {
	c := e.CamCard
	side := func(opens, closes *measure.Angle, lift measure.Length) *timing.CardValveInput {
		if opens == nil && closes == nil {
			return nil
		}
		k := &timing.CardValveInput{CheckingLift: c.CheckingLift, MaxLift: lift, MaxLiftAt: timing.AtValve, Gross: true}
		if opens != nil {
			k.Opens = timing.NewEvent(opens.String())
		}
		if closes != nil {
			k.Closes = timing.NewEvent(closes.String())
		}
		return k
	}
	in := side(c.IntakeOpens, c.IntakeCloses, c.MaxLiftIntake)
	ex := side(c.ExhaustOpens, c.ExhaustCloses, c.MaxLiftExhaust)
	if in == nil && ex == nil {
		return nil
	}
	return &timing.CardInput{Intake: in, Exhaust: ex, LobeSeparation: c.LobeSeparation, Tolerance: e.Limits.Card, LiftTolerance: e.Limits.CardLift}
}

// Curve draws the lift curve of a trace against the crank of its own cylinder.
//
// Where o.TDC is what was set down for the engine, it is cylinder 1's, and the
// other cylinders are counted from their place in an even firing order; unless
// that puts the nose where no nose can be and the angle as it stands puts it
// right: then the encoder was set again at that cylinder.
//
// Where nothing is known, an encoder is set to top dead centre once, usually of
// cylinder 1, and then the engine is turned from valve to valve. If counting
// from the encoder's own zero puts the nose where no nose can be, and counting
// from the cylinder's place in the firing order puts it right, then that is
// what was done.
//
// The note says which of these it was. Noses lie near 110 degrees from the top
// dead centre of the overlap (common practice, no source); half of the least
// distance between two cylinders of any usual engine is allowed either way.
func Curve(t measure.Trace, o timing.Options, e storage.Engine, name string) (*timing.Curve, Zero, error) {
	c, err := timing.FromTrace(t, o)
	if err != nil {
		return nil, Zero{}, err
	}
	if e.TDC != nil && o.TDC == e.TDC.Angle {
		c, parts, err := fromFirst(c, t, o, e, name)
		if err != nil {
			return nil, Zero{}, err
		}
		return c, checked(c, o, Zero{Parts: parts}), nil
	}
	if o.TDC != 0 || o.Valve == "" || plausible(c, o.Valve) || len(e.FiringOrder) == 0 {
		return c, checked(c, o, Zero{}), nil
	}
	first := e.FiringOrder[0]
	cylinder, after, ok := firesAfter(e, first, name)
	if !ok {
		return c, checked(c, o, Zero{}), nil
	}
	moved := o
	moved.TDC = counts(after, o)
	m, err := timing.FromTrace(t, moved)
	if err != nil || !plausible(m, o.Valve) {
		return c, checked(c, o, Zero{}), nil
	}
	return m, Zero{Parts: []string{fmt.Sprintf("the encoder was set to the top dead centre of cylinder %d", first), countedFrom(cylinder, after)}}, nil
}

// Zero is what the angles of a curve count from.
type Zero struct {
	// Parts say how it was come by, where it is not the encoder's own zero: what holds
	// for every cylinder and what is this one's, each a sentence without its point.
	Parts []string
	// Doubtful says that the nose stands where no cam puts it: durations hold,
	// and nothing that is before or after a dead centre.
	Doubtful bool
}

// Says is all of it in one.
func (z Zero) Says() string { return strings.Join(z.Parts, ": ") }

// checked doubts a zero that puts the nose where no nose can be.
func checked(c *timing.Curve, o timing.Options, z Zero) Zero {
	if o.Valve == "" || plausible(c, o.Valve) {
		return z
	}
	parts := z.Parts
	switch {
	case len(parts) > 0:
	case o.TDC == 0:
		parts = []string{"top dead centre was not set down, and the angles count from the encoder's own zero"}
	default:
		parts = []string{fmt.Sprintf("the encoder is said to count %v at top dead centre", o.TDC)}
	}
	side, beyond := "after", c.Nose().Angle
	if o.Valve == timing.Exhaust {
		side, beyond = "before", -beyond
	}
	return Zero{Doubtful: true, Parts: append(slices.Clone(parts),
		fmt.Sprintf("the nose then stands %.0f deg %s top dead centre, and no %s cam has it there (%.0f to %.0f deg)", beyond.Degrees(), side, o.Valve, (usualNose-noseRoom).Degrees(), (usualNose+noseRoom).Degrees()),
		"find top dead centre first; until then durations hold, opening and closing do not")}
}

// fromFirst moves c, which is counted from cylinder 1's top dead centre, to that
// of its own cylinder.
func fromFirst(c *timing.Curve, t measure.Trace, o timing.Options, e storage.Engine, name string) (*timing.Curve, []string, error) {
	note := fmt.Sprintf("the encoder counts %v at the top dead centre of cylinder 1, as set down for the engine", o.TDC)
	cylinder, after, ok := firesAfter(e, 1, name)
	if !ok || o.Valve == "" {
		return c, []string{note}, nil
	}
	o.TDC += counts(after, o)
	moved, err := timing.FromTrace(t, o)
	if err != nil {
		return nil, nil, err
	}
	if !plausible(moved, o.Valve) && plausible(c, o.Valve) {
		return c, []string{note, fmt.Sprintf("but the nose is right only if the encoder was set again at cylinder %d, and so it was counted", cylinder)}, nil
	}
	return moved, []string{note, countedFrom(cylinder, after)}, nil
}

func countedFrom(cylinder int, after measure.Angle) string {
	return fmt.Sprintf("counted from that of cylinder %d, %v later by the even firing order", cylinder, after)
}

// counts returns by how much an encoder counts on over a crank angle.
func counts(crank measure.Angle, o timing.Options) measure.Angle {
	if o.OnCam {
		crank /= 2
	}
	if o.CountsDown {
		crank = -crank
	}
	return crank
}

const (
	usualNose = 110 * measure.Degree
	noseRoom  = 45 * measure.Degree
)

func plausible(c *timing.Curve, v timing.Valve) bool {
	nose := c.Nose().Angle
	if v == timing.Exhaust {
		nose = -nose
	}
	return nose > usualNose-noseRoom && nose < usualNose+noseRoom
}

// firesAfter returns the cylinder of a valve, and how many crank degrees after
// another cylinder it fires, if the engine fires evenly. It is not ok for that
// cylinder itself.
func firesAfter(e storage.Engine, first int, name string) (cylinder int, after measure.Angle, ok bool) {
	v, err := valve.Parse(name)
	if err != nil {
		return 0, 0, false
	}
	cylinder = v.Cylinder
	i, from, n := slices.Index(e.FiringOrder, cylinder), slices.Index(e.FiringOrder, first), len(e.FiringOrder)
	if i < 0 || from < 0 || i == from {
		return cylinder, 0, false
	}
	return cylinder, measure.Cycle * measure.Angle((i-from+n)%n) / measure.Angle(n), true
}
