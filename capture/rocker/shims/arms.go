package shims

import (
	"fmt"
	"math"

	"lobescribe/capture/rocker"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// What is taken where nothing was measured, and how well what was measured is
// usually known; expanded (k = 2). Common practice, no source.
const (
	usualArm         = 38.0 // mm, pivot to tip
	usualArmU        = 8.0
	unknownBendU     = 10 * math.Pi / 180
	nominalRatioU    = 0.03 // of itself
	defaultBendU     = 2 * math.Pi / 180
	defaultBallU     = 300 * measure.Micrometre
	defaultCentresU  = 500 * measure.Micrometre
	defaultArmsU     = 500 * measure.Micrometre
	defaultMarkU     = 100 * measure.Micrometre
	defaultTolerance = 381 * measure.Micrometre
	untoldRiseU      = 0.014 // of the pushrod's growth: leans within 5 deg, and a bend
)

// arms turns height differences into how short the stack is and back.
type arms struct {
	ratio float64
	beam  *rocker.Beam // nil: taken as straight, and no arm is needed
	// valve is the valve's arm and valveU its expanded uncertainty, for marks.
	valve, valveU float64
	// bendU and centresU are what bend and off-centre heights leave of every
	// height difference alike, in millimetres of it, expanded.
	bendU, centresU float64
	bendTold        bool
	riseU           float64 // of rise, from ratio or arms, expanded
}

// valveArm and adjusterArm are the arms in millimetres, usual where not told.
func (q Question) valveArm() float64 {
	switch {
	case q.ValveArm > 0:
		return q.ValveArm.Millimetres()
	case q.AdjusterArm > 0 && q.RockerRatio > 0:
		return q.AdjusterArm.Millimetres() * q.RockerRatio
	}
	return usualArm
}

func (q Question) adjusterArm() float64 {
	if q.AdjusterArm > 0 {
		return q.AdjusterArm.Millimetres()
	}
	return q.valveArm() / max(q.RockerRatio, 0.2)
}

func (q Question) arms(basis *worksheet.Basis) arms {
	valve, adjuster := q.valveArm(), q.adjusterArm()
	a := arms{ratio: q.RockerRatio, valve: valve, valveU: orDefault(q.ArmsU, defaultArmsU).Millimetres()}
	if q.ValveArm != 0 && q.AdjusterArm != 0 {
		a.ratio = valve / adjuster
	}
	adjusterU := a.valveU
	switch {
	case q.ValveArm == 0 && q.AdjusterArm == 0:
		a.valveU = usualArmU
		adjusterU = usualArmU / a.ratio
	case q.ValveArm == 0:
		a.valveU = math.Hypot(a.ratio*a.valveU, nominalRatioU*valve)
	}
	a.riseU = nominalRatioU / a.ratio
	if q.ValveArm != 0 && q.AdjusterArm != 0 {
		a.riseU = math.Hypot(a.valveU/valve, adjusterU/adjuster) / a.ratio
	}
	a.centresU = orDefault(q.CentresU, defaultCentresU).Millimetres()
	if q.CentresU == nil {
		basis.Assume("the heights are those of the tip's centre and the ball's centre, their difference right to %v in every trial alike", defaultCentresU)
	}
	var bend float64
	switch {
	case q.BallAboveLine != nil:
		a.bendTold = true
		bend = math.Asin(q.BallAboveLine.Millimetres() / adjuster)
		a.bendU = orDefault(q.BallU, defaultBallU).Millimetres()
	case q.Bend != nil:
		a.bendTold = true
		bend = q.Bend.Degrees() * math.Pi / 180
		u := defaultBendU
		if q.BendU != nil {
			u = q.BendU.Degrees() * math.Pi / 180
		}
		a.bendU = math.Hypot(adjuster*math.Cos(bend)*u, math.Sin(bend)*adjusterU)
	default:
		basis.Assume("the rocker is straight to 10 deg (tip, pivot and adjuster's ball on one line): its bend was not told, and the ± holds what such a bend does")
		a.bendU = worksheet.Combine(adjuster*math.Sin(unknownBendU), adjusterU*math.Sin(unknownBendU)/2)
		return a
	}
	if bend != 0 {
		a.beam = &rocker.Beam{ValveArm: measure.FromMillimetres(valve), AdjusterArm: measure.FromMillimetres(adjuster),
			Bend: measure.FromDegrees(bend * 180 / math.Pi)}
	}
	if bend != 0 && q.ValveArm == 0 && q.AdjusterArm == 0 {
		basis.Assume("neither arm was measured: the valve's arm is taken as %g mm ± %g mm", usualArm, usualArmU)
	}
	return a
}

// rise is by how much the height difference changes a length of shim.
func (a arms) rise() float64 { return 1 + 1/a.ratio }

// offsetU is what bend and off-centre heights leave of the stack wanted,
// expanded: no number of trials makes it less, because it is in all of them.
func (a arms) offsetU() float64 { return math.Hypot(a.bendU, a.centresU) / a.rise() }

func (a arms) short(below measure.Length) (float64, error) {
	if a.beam == nil {
		return below.Millimetres() / a.rise(), nil
	}
	short, err := a.beam.Short(below)
	return short.Millimetres(), err
}

func (a arms) below(short float64) (measure.Length, error) {
	if a.beam == nil {
		return measure.FromMillimetres(short * a.rise()), nil
	}
	return a.beam.Below(measure.FromMillimetres(short))
}

func (a arms) points(trials []Trial) ([]point, error) {
	points := make([]point, len(trials))
	for i, t := range trials {
		short, err := a.short(*t.AdjusterBelowValve)
		if err != nil {
			return nil, fmt.Errorf("taking up trial %d: %w", i+1, err)
		}
		points[i] = point{t.Stack.Total().Millimetres(), short, 1 / a.rise()}
	}
	return points, nil
}

func orDefault(l *measure.Length, otherwise measure.Length) measure.Length {
	if l != nil {
		return *l
	}
	return otherwise
}
