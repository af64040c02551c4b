package model

import "math"

// Parts are what a rocker set-up is put together from.
type Parts struct {
	Rocker
	Lift, Lash float64 // at the valve
	Rod        float64 // at the set-up that Short describes
	// Short is by how much the pivot is too low for the tip's centre to be level
	// with it at half lift.
	Short float64
	// RodLean and BoreLean are against the valve's axis, lower end towards the
	// pivot; StandLean is that of the studs, upper end towards the valve.
	RodLean, BoreLean, StandLean float64
}

// Bench is a set-up with its lobe: what stays when shims are added.
type Bench struct {
	Engine
	LobeLift, Lash, StandLean float64
}

// Assemble puts the parts together at half lift and takes the lifter down to the
// heel from there.
func Assemble(p Parts) (Bench, error) {
	e := Engine{Rocker: p.Rocker, Rod: p.Rod, Bore: Vec{0, 1}}
	half, err := newton(func(turn float64) float64 { return e.tip(turn).Y - e.Pivot.Y - p.Short }, 0)
	if err != nil {
		return Bench{}, err
	}
	e.Closed = e.tip(half).Y - e.Radius + p.Lift/2
	down := Vec{0, -1}
	e.Lifter = e.ball(half).plus(down.turned(p.RodLean).Times(p.Rod))
	e.Bore = Vec{0, 1}.turned(p.BoreLean)
	// The cup stands at half lift now; where is it with the lash open, where at
	// full lift?
	heel, err := e.AtLift(-p.Lash)
	if err != nil {
		return Bench{}, err
	}
	full, err := e.AtLift(p.Lift)
	if err != nil {
		return Bench{}, err
	}
	e.Lifter = e.Lifter.plus(e.Bore.Times(heel.Lobe))
	return Bench{e, full.Lobe - heel.Lobe, p.Lash, p.StandLean}, nil
}

// Raised puts more under the stand and cuts a pushrod that leaves the same lash.
func (b Bench) Raised(by float64) (Bench, error) {
	b.Pivot = b.Pivot.plus(Vec{math.Sin(b.StandLean), math.Cos(b.StandLean)}.Times(by))
	turn, err := newton(func(turn float64) float64 { return b.lift(turn) + b.Lash }, 0)
	if err != nil {
		return b, err
	}
	b.Rod = b.ball(turn).minus(b.Lifter).length()
	return b, nil
}

// Full and Half are the poses at the nose and at half of the lift there.
func (b Bench) Full() (Pose, error) { return b.AtLobe(b.LobeLift) }

// Half is where the valve is open by half of its lift at the nose.
func (b Bench) Half() (Pose, error) {
	full, err := b.Full()
	if err != nil {
		return Pose{}, err
	}
	return b.AtLift(full.Lift / 2)
}

// Below is by how much the ball stands lower than the tip's centre at half lift.
func (b Bench) Below() (float64, error) { return b.BelowAt(Vec{}, Vec{}) }

// BelowAt is the same between two points of the beam that lie off the centres.
func (b Bench) BelowAt(offTip, offBall Vec) (float64, error) {
	half, err := b.Half()
	return b.TipAt(half).Y + offTip.turned(half.Turn).Y - b.BallAt(half).Y - offBall.turned(half.Turn).Y, err
}

// Short is by how much the pivot is too low at half lift.
func (b Bench) Short() (float64, error) {
	half, err := b.Half()
	return b.TipAt(half).Y - b.Pivot.Y, err
}

// Wanted is what must go under the stand, along its studs, for Short to be zero.
func (b Bench) Wanted() (float64, error) {
	var failed error
	by, err := newton(func(by float64) float64 {
		r, err := b.Raised(by)
		if err != nil {
			failed = err
		}
		short, err := r.Short()
		if err != nil {
			failed = err
		}
		return short
	}, 0)
	if failed != nil {
		return 0, failed
	}
	return by, err
}

// Stem is what the tip does to the stem's end over an opening: how wide its way
// is, looked at in many poses, and how much nearer the pivot it touches at full
// lift than on the closed valve.
func (b Bench) Stem() (width, nearer float64, err error) {
	full, err := b.Full()
	if err != nil {
		return 0, 0, err
	}
	least, most := math.Inf(1), math.Inf(-1)
	const poses = 400
	var first, last float64
	for i := range poses + 1 {
		p, err := b.AtLift(full.Lift * float64(i) / poses)
		if err != nil {
			return 0, 0, err
		}
		x := b.TipAt(p).X // a flat stem is touched straight below the tip's centre
		least, most = math.Min(least, x), math.Max(most, x)
		if i == 0 {
			first = x
		}
		last = x
	}
	return most - least, first - last, nil
}
