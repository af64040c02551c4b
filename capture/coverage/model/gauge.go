package model

import (
	"math"
	"math/rand/v2"
)

// SweepGauge reads across the stem: its flat tip lies against the round of the
// rocker's tip, its spindle points so far off square. What it does wrong is drawn
// with it.
type SweepGauge struct {
	Tilt  float64 // radians
	Sense float64 // 1 or -1: which way it counts
	// Wave and Pitch are how its scale errs over its travel, Drift over a pass.
	Wave, Pitch, Phase, Drift, Noise, Step float64
	// RollerOut is half the roller's run-out, SideOut that of the reference's side,
	// which turns by SideTurns over the opening; SideLean is its slope.
	RollerOut, SideOut, SideTurns, SideLean, OutPhase float64
}

// reads puts a true position through the gauge; when runs from 0 to 1.
func (g SweepGauge) reads(r *rand.Rand, at, when float64) float64 {
	s := g.Sense*at + g.Wave*math.Sin(2*math.Pi*at/g.Pitch+g.Phase) + g.Drift*when + g.Noise*r.NormFloat64()
	return math.Round(s/g.Step) * g.Step
}

// Tip is its reading against the tip's round at a pose: the farthest that the
// round reaches along the spindle.
func (g SweepGauge) Tip(r *rand.Rand, b Bench, p Pose, when float64) float64 {
	along := Vec{math.Cos(g.Tilt), math.Sin(g.Tilt)}
	at := b.TipAt(p).dot(along) + b.Radius + g.RollerOut*math.Sin(g.OutPhase-p.Turn)
	return g.reads(r, at, when)
}

// Side is its reading against something that travels with the valve.
func (g SweepGauge) Side(r *rand.Rand, b Bench, p Pose, when, full float64) float64 {
	along := Vec{math.Cos(g.Tilt), math.Sin(g.Tilt)}
	at := Vec{25 + g.SideLean*p.Lift, -p.Lift}.dot(along) + g.SideOut*math.Sin(g.OutPhase+g.SideTurns*p.Lift/full)
	return g.reads(r, at, when)
}
