// Package model is what the coverage suite judges the calculations by: an engine
// that is put together and moved numerically, and measured with errors. It shares
// no code and no formula with package capture's folders: a rocker is bodies held
// together by conditions (a vector loop) and solved by Newton's method from where
// it last stood; a piston is a circle met by a rod; a lobe is a polynomial.
//
// Frame: x to the right, y upwards, millimetres, radians. The valve stands
// upright at the right of the pivot and opens downwards; the pushrod stands at the
// left and pushes upwards.
package model

import (
	"errors"
	"math"
)

// Vec is a point or a direction.
type Vec struct{ X, Y float64 }

func (v Vec) plus(w Vec) Vec      { return Vec{v.X + w.X, v.Y + w.Y} }
func (v Vec) Times(k float64) Vec { return Vec{k * v.X, k * v.Y} }
func (v Vec) minus(w Vec) Vec     { return Vec{v.X - w.X, v.Y - w.Y} }
func (v Vec) length() float64     { return math.Hypot(v.X, v.Y) }
func (v Vec) turned(by float64) Vec {
	s, c := math.Sincos(by)
	return Vec{v.X*c - v.Y*s, v.X*s + v.Y*c}
}
func (v Vec) dot(w Vec) float64       { return v.X*w.X + v.Y*w.Y }
func (v Vec) toward(w Vec) (unit Vec) { d := w.minus(v); return d.Times(1 / d.length()) }

// Rocker is one rigid beam: where its tip's centre and its ball lie from its
// pivot while it is not turned at all, and the round tip's radius.
type Rocker struct {
	Tip, Ball Vec
	Radius    float64
}

// Bent makes a rocker of two arms whose ball stands above the line through tip
// and pivot by bend.
func Bent(valveArm, adjusterArm, bend, radius float64) Rocker {
	left := Vec{-adjusterArm, 0}
	return Rocker{Vec{valveArm, 0}, left.turned(-bend), radius}
}

// BallAboveLine is how far the ball stands above the line from tip to pivot.
func (r Rocker) BallAboveLine() float64 {
	along := r.Tip.toward(Vec{})
	across := Vec{-along.Y, along.X}
	if across.Y < 0 {
		across = across.Times(-1)
	}
	return r.Ball.dot(across)
}

// Engine is a rocker on its stand with pushrod, lifter and valve.
type Engine struct {
	Rocker
	Pivot Vec
	// Closed is the height of the stem's end with the valve shut.
	Closed float64
	// Lifter is where the lifter's cup stands on the heel, Bore the direction in
	// which it moves.
	Lifter, Bore Vec
	Rod          float64
}

var errNoPose = errors.New("the model's parts do not come together")

// Pose is the engine at one moment.
type Pose struct {
	Turn float64 // of the beam, anticlockwise
	Lift float64 // of the valve; below zero: the gap of the lash
	Lobe float64
}

func (e Engine) tip(turn float64) Vec  { return e.Pivot.plus(e.Rocker.Tip.turned(turn)) }
func (e Engine) ball(turn float64) Vec { return e.Pivot.plus(e.Rocker.Ball.turned(turn)) }

// TipAt and BallAt are where those two points are.
func (e Engine) TipAt(p Pose) Vec  { return e.tip(p.Turn) }
func (e Engine) BallAt(p Pose) Vec { return e.ball(p.Turn) }

// lift is the valve's at a turn: the lowest point of the tip pushes the stem.
func (e Engine) lift(turn float64) float64 { return e.Closed - (e.tip(turn).Y - e.Radius) }

// AtLobe moves the lifter by lobe and lets the pushrod turn the beam: the loop
// pivot - ball - lifter closes when the rod has its length.
func (e Engine) AtLobe(lobe float64) (Pose, error) {
	cup := e.Lifter.plus(e.Bore.Times(lobe))
	turn, err := newton(func(turn float64) float64 { return e.ball(turn).minus(cup).length() - e.Rod }, 0)
	return Pose{turn, e.lift(turn), lobe}, err
}

// AtLift turns the beam until the valve has a lift, and finds the lobe lift that
// does so.
func (e Engine) AtLift(lift float64) (Pose, error) {
	turn, err := newton(func(turn float64) float64 { return e.lift(turn) - lift }, 0)
	if err != nil {
		return Pose{}, err
	}
	ball := e.ball(turn)
	lobe, err := newton(func(lobe float64) float64 {
		return ball.minus(e.Lifter.plus(e.Bore.Times(lobe))).length() - e.Rod
	}, 0)
	return Pose{turn, lift, lobe}, err
}

// newton finds where f is zero near from, its slope taken numerically.
func newton(f func(float64) float64, from float64) (float64, error) {
	const h = 1e-6
	x := from
	for range 300 {
		v := f(x)
		if math.Abs(v) < 1e-12 {
			return x, nil
		}
		slope := (f(x+h) - f(x-h)) / (2 * h)
		if slope == 0 || math.IsNaN(slope) {
			break
		}
		step := v / slope
		x -= math.Max(-0.3, math.Min(0.3, step)) // no leap to another branch
		if math.Abs(step) < 1e-14 {
			return x, nil
		}
	}
	if math.Abs(f(x)) < 1e-9 {
		return x, nil
	}
	return 0, errNoPose
}
