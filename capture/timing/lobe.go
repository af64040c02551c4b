package timing

import (
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// LobeMotion is lift, velocity and acceleration of the lobe (of its lifter) worked
// out from a curve at the valve. With V(L) the valve's lift over the lobe's, as
// measured or by one number, and primes for its slope and change,
//
//	L = V^-1(lift + lash)     L. = lift./V'     L.. = (lift.. - V'' L.^2)/V'
//
// by the chain rule. Angles count from top dead centre: what that is off by moves the
// whole motion, and is in no U here.
// Below a fiftieth of the lift, and within the lash, a valve says
// nothing of its lobe.
type LobeMotion struct {
	// By says which way lifts went: "the measured ratio" or "one number".
	By      string         `json:"by"`
	MaxLift measure.Length `json:"max_lobe_mm"`
	// MaxLiftU, and the other U, are expanded (k = 2): noise, what the window
	// flattens, and the ratio with its slope.
	MaxLiftU measure.Length       `json:"max_lobe_u_mm"`
	Points   []LobePoint          `json:"points"`
	Peaks    []LobePeak           `json:"peaks"`
	Says     []worksheet.Sentence `json:"-"`
}

// LobePoint is the lobe at one crank angle, per crank degree.
type LobePoint struct {
	Angle         measure.Angle  `json:"atdc_deg"`
	Lift          measure.Length `json:"lobe_mm"`
	LiftU         measure.Length `json:"lobe_u_mm"`
	Velocity      float64        `json:"lobe_mm_per_deg"`
	VelocityU     float64        `json:"lobe_mm_per_deg_u"`
	Acceleration  float64        `json:"lobe_mm_per_deg2"`
	AccelerationU float64        `json:"lobe_mm_per_deg2_u"`
}

// LobePeak is where a flank is at its steepest, or the lobe bends most.
type LobePeak struct {
	Of    string        `json:"of"` // "opening velocity", "closing velocity", "nose acceleration"
	Angle measure.Angle `json:"atdc_deg"`
	Value float64       `json:"value"`
	U     float64       `json:"peak_u"`
}

// LobeMotion returns the lobe's motion; the curve must be one at the valve.
func (c *Curve) LobeMotion() (LobeMotion, error) {
	if c.options.MeasuredAt != AtValve {
		return LobeMotion{}, fmt.Errorf("the curve was measured at the lobe: its own derivatives are the lobe's")
	}
	d, err := c.Derivatives(DeriveOptions{})
	if err != nil {
		return LobeMotion{}, err
	}
	t, by := c.transfer, "the measured ratio"
	if t == nil {
		t, by = byOneNumber(c.options), "one number"
	}
	out := LobeMotion{By: by, Points: []LobePoint{}}
	lash, uLash := 0.0, 0.0
	if !t.own {
		lash = c.options.Lash.Millimetres()
		if lash > 0 {
			uLash = feelerU.Millimetres() / coverage
		}
	}
	top := c.top.y
	for _, p := range d.Points {
		y := p.Lift.Millimetres()
		if y < top/50 {
			continue
		}
		lobe, u := t.lobe(y + lash)
		ratio, uRatio, change, uChange := t.slopes(lobe)
		if ratio < 0.1 {
			return out, fmt.Errorf("the measured ratio falls to %.2f at a lobe lift of %s: no rocker does that", ratio, worksheet.InBoth(worksheet.Rounded(millimetres(lobe))))
		}
		v := p.Velocity / ratio
		a := (p.Acceleration - change*v*v) / ratio
		uHeel := c.uHeel
		if t.own { // it is in the fit
			uHeel = 0
		}
		out.Points = append(out.Points, LobePoint{
			Angle: p.Angle, Lift: millimetres(lobe),
			LiftU:    millimetres(coverage * worksheet.Combine(u, c.uLift(p.Angle.Degrees())/ratio, uHeel/ratio, uLash/ratio, v*c.uCount())),
			Velocity: v, VelocityU: worksheet.Combine(p.VelocityU/ratio, coverage*v*uRatio/ratio, coverage*a*c.uCount()),
			Acceleration: a, AccelerationU: worksheet.Combine(p.AccelerationU/ratio, coverage*a*uRatio/ratio, coverage*v*v*uChange/ratio),
		})
	}
	if len(out.Points) < 10 {
		return out, fmt.Errorf("the curve has too little of the opening: turn the engine through all of it")
	}
	lobe, u := t.lobe(c.Nose().MaxLift.Millimetres() + lash)
	ratio, _, _, _ := t.slopes(lobe)
	out.MaxLift = millimetres(lobe)
	out.MaxLiftU = millimetres(worksheet.Combine(coverage*u, c.Nose().MaxLiftU.Millimetres()/ratio, coverage*uLash/ratio))
	out.peaks(top / ratio)
	out.words()
	return out, nil
}

// peaks finds the steepest place of either flank and the sharpest of the nose.
func (l *LobeMotion) peaks(top float64) {
	best := func(of string, in func(p LobePoint) bool, value func(p LobePoint) (v, u float64)) {
		var peak *LobePeak
		for _, p := range l.Points {
			if !in(p) {
				continue
			}
			if v, u := value(p); peak == nil || math.Abs(v) > math.Abs(peak.Value) {
				peak = &LobePeak{of, p.Angle, v, u}
			}
		}
		if peak != nil {
			l.Peaks = append(l.Peaks, *peak)
		}
	}
	speed := func(p LobePoint) (v, u float64) { return p.Velocity, p.VelocityU }
	best("opening velocity", func(p LobePoint) bool { return p.Velocity > 0 }, speed)
	best("closing velocity", func(p LobePoint) bool { return p.Velocity < 0 }, speed)
	best("nose acceleration", func(p LobePoint) bool { return p.Lift.Millimetres() > 0.5*top && p.Acceleration < 0 },
		func(p LobePoint) (v, u float64) { return p.Acceleration, p.AccelerationU })
}

func (l *LobeMotion) words() {
	l.Says = append(l.Says, worksheet.Sayf("the lobe lifts %v ± %v by %s", worksheet.Rounded(l.MaxLift), worksheet.Rounded(l.MaxLiftU), l.By))
	for _, p := range l.Peaks {
		if p.Of == "nose acceleration" {
			l.Says = append(l.Says, worksheet.Sayf("its nose bends most at %s: %v ± %v", saysNose(p.Angle), worksheet.PerSquareDegree(p.Value), worksheet.PerSquareDegree(p.U)))
			continue
		}
		// A thousandth of a millimetre a degree is what a length can say.
		l.Says = append(l.Says, worksheet.Sayf("its %s is at most %v ± %v a degree of crank, at %s", p.Of, millimetresFine(math.Abs(p.Value)), millimetresFine(p.U), saysNose(p.Angle)))
	}
}

// millimetresFine is a length to a tenth of a micrometre, for what is said.
func millimetresFine(mm float64) measure.Length {
	return (measure.FromMillimetres(mm) + 50) / 100 * 100
}
