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
	defaultRadiusU   = 500 * measure.Micrometre
	defaultTolerance = 381 * measure.Micrometre
	nearSquare       = 5 * math.Pi / 180 // within which a pad's arm was measured
	untoldRiseU      = 0.014             // of the pushrod's growth: leans within 5 deg, and a bend
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
	pad             float64 // radius of a pad where heights are those of its touching point
	riseU           float64 // of rise, from ratio or arms, expanded
	unknown         float64 // by how much valve may be longer, where no arm was told
}

// valveArm and adjusterArm are the arms in millimetres, usual where not told.
func (q Question) valveArm() float64 {
	switch {
	case q.ValveArm > 0:
		// A pad's centre stands one radius above where it touches, and the rocker is
		// near its right angle there.
		touch := q.ValveArm.Millimetres()
		return math.Sqrt(touch*touch - q.pad()*q.pad())
	case q.AdjusterArm > 0 && q.RockerRatio > 0:
		return q.AdjusterArm.Millimetres() * q.RockerRatio
	}
	return usualArm
}

// pad is the radius of a pad in millimetres, 0 for a roller.
func (q Question) pad() float64 {
	if q.Tip != rocker.Pad {
		return 0
	}
	return min(q.TipRadius.Millimetres(), 0.9*max(q.ValveArm.Millimetres(), usualArm))
}

func (q Question) adjusterArm() float64 {
	if q.AdjusterArm > 0 {
		return q.AdjusterArm.Millimetres()
	}
	return q.valveArm() / max(q.RockerRatio, 0.2)
}

func (q Question) arms(basis *worksheet.Basis) arms {
	valve, adjuster := q.valveArm(), q.adjusterArm()
	a := arms{ratio: q.RockerRatio, valve: valve, valveU: orDefault(q.ArmsU, defaultArmsU).Millimetres(), pad: q.pad()}
	if q.ValveArm != 0 && q.AdjusterArm != 0 {
		a.ratio = valve / adjuster
	}
	adjusterU := a.valveU
	switch {
	case q.ValveArm == 0 && q.AdjusterArm == 0:
		a.valveU, a.unknown = usualArmU, usualArmU
		adjusterU = usualArmU / a.ratio
	case q.ValveArm == 0:
		a.valveU = math.Hypot(a.ratio*a.valveU, nominalRatioU*valve)
	}
	if a.pad > 0 && q.ValveArm != 0 {
		// From where it touches to the centre: a^2 = d^2 - r^2, and r sin(theta) more
		// or less where the rocker stood theta off its right angle.
		touch, radiusU := q.ValveArm.Millimetres(), orDefault(q.TipRadiusU, defaultRadiusU).Millimetres()
		a.valveU = worksheet.Combine(touch/valve*a.valveU, a.pad/valve*radiusU, a.pad*math.Sin(nearSquare))
	}
	a.riseU = nominalRatioU / a.ratio
	if q.ValveArm != 0 && q.AdjusterArm != 0 {
		a.riseU = math.Hypot(a.valveU/valve, adjusterU/adjuster) / a.ratio
	}
	a.centresU = orDefault(q.CentresU, defaultCentresU).Millimetres()
	if q.CentresU == nil {
		basis.Assume("the heights are those of the tip's centre and the ball's centre, their difference right to %v in every trial alike", defaultCentresU)
	}
	if a.pad > 0 {
		a.centresU = math.Hypot(a.centresU, orDefault(q.TipRadiusU, defaultRadiusU).Millimetres())
		basis.Assume("heights and the valve's arm are those of the point where the pad touches the stem; the pad is a part of a circle, and the arm was measured within 5 deg of square")
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
		basis.Assume("neither arm was measured: the valve's arm is taken as %v ± %v", measure.FromMillimetres(usualArm), measure.FromMillimetres(usualArmU))
	}
	return a
}

// rise is by how much the height difference changes a length of shim.
func (a arms) rise() float64 { return 1 + 1/a.ratio }

// offsetU is what bend and off-centre heights leave of the stack wanted,
// expanded: no number of trials makes it less, because it is in all of them.
func (a arms) offsetU() float64 { return math.Hypot(a.bendU, a.centresU) / a.rise() }

func (a arms) short(below measure.Length) (float64, error) {
	below += measure.FromMillimetres(a.pad) // the centre stands a radius above the point
	if a.beam == nil {
		return below.Millimetres() / a.rise(), nil
	}
	short, err := a.beam.Short(below)
	return short.Millimetres(), err
}

func (a arms) below(short float64) (measure.Length, error) {
	if a.beam == nil {
		return measure.FromMillimetres(short*a.rise() - a.pad), nil
	}
	below, err := a.beam.Below(measure.FromMillimetres(short))
	return below - measure.FromMillimetres(a.pad), err
}

func (a arms) points(trials []Trial) ([]point, error) {
	points := make([]point, len(trials))
	for i, t := range trials {
		short, err := a.short(*t.AdjusterBelowValve)
		if err != nil {
			return nil, fmt.Errorf("taking up trial %d: %w", i+1, err)
		}
		off := 90.0
		if sine := math.Abs(short) / (a.valve + a.unknown); sine < 1 {
			off = math.Asin(sine) * 180 / math.Pi
		}
		if err := rocker.OffSquare(fmt.Sprintf("trials[%d].adjuster_below_valve_mm", i), measure.FromDegrees(off), "that the heights of the two ends were taken at half lift"); err != nil {
			return nil, err
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
