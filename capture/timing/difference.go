package timing

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Difference is one lift curve against another, of the same valve before and after
// or of two valves of a kind, laid over each other at the middle of their half-lift
// flanks. A nose is flat: laid over each other there, two traces of one valve differ
// by some hundredths on their flanks that are not the valve's.
type Difference struct {
	// Turned is by how many crank degrees the middle between the second's half-lift
	// flanks comes after the first's; whole turns are left out. What each curve's top
	// dead centre is off by is in TurnedU.
	Turned  measure.Angle `json:"turned_deg"`
	TurnedU measure.Angle `json:"turned_u_deg"`
	// Points are second less first, a degree apart, from the middle.
	Points []DifferencePoint `json:"points"`
	// Most is the point that stands out farthest, as a share of its U.
	Most DifferencePoint `json:"most"`
	// Is is "same" where nothing stands out beyond the ±, else "differs"; or
	// "cannot-tell" where something does and one of the curves cannot show that it
	// would come again: it is of one opening, or its turns do not agree.
	Is    string             `json:"is"`
	Where []DifferencePart   `json:"where,omitempty"`
	Says  worksheet.Sentence `json:"says"`
}

// DifferencePoint is the difference of lift at an angle from the middle.
type DifferencePoint struct {
	Angle measure.Angle  `json:"from_middle_deg"`
	Off   measure.Length `json:"off_mm"`
	// U is expanded: both curves' noise and heels, and how well they lie over each
	// other.
	U measure.Length `json:"off_u_mm"`
}

// DifferencePart is a stretch over which the difference stands out.
type DifferencePart struct {
	Part string         `json:"part"` // opening flank, nose, closing flank
	From measure.Angle  `json:"from_deg"`
	To   measure.Angle  `json:"to_deg"`
	Off  measure.Length `json:"off_mm"` // the most of it
	U    measure.Length `json:"off_u_mm"`
}

// A difference stands out where it is more than standsOut of its U over at least
// standsFor degrees: of 180 degrees looked at, some reach one U by chance, and where a
// hand starts or stops the port's delay moves a few degrees. Wear is wider: a follower
// touches a nose over some ten degrees of crank (common practice, no source).
const (
	standsOut = 1.4
	standsFor = 8
)

// Differ lays two curves over each other.
func Differ(first, second *Curve) (Difference, error) {
	var middles [2]float64
	var u [2]float64
	var tops [2]float64
	for i, c := range []*Curve{first, second} {
		p, err := c.Passage(c.Nose().MaxLift/2, c.options.MeasuredAt)
		if err != nil || p.Span == nil {
			return Difference{}, worksheet.Wrongf([]string{"compare.first", "compare.second"}[i], "does not come down to half lift on both sides: turn the engine through the whole opening")
		}
		middles[i], u[i], tops[i] = (p.Opens.Angle+p.Closes.Angle).Degrees()/2, p.Span.uMiddle, c.Nose().MaxLift.Millimetres()
	}
	shift := middles[1] - middles[0]
	turned := math.Remainder(shift, 360)
	d := Difference{Points: []DifferencePoint{}, Is: "same", Turned: degrees(turned), TurnedU: degrees(coverage * worksheet.Combine(u[0], u[1], first.uZero(), second.uZero()))}
	over := math.Hypot(u[0], u[1])
	worst := 0.0
	var run *DifferencePart
	runWorst := 0.0
	end := func() {
		if run != nil && (run.To-run.From).Degrees() >= standsFor {
			d.Where = append(d.Where, *run)
		}
		run = nil
	}
	for x := math.Ceil(max(first.x[0]-middles[0], second.x[0]-middles[1])); x <= min(first.x[len(first.x)-1]-middles[0], second.x[len(second.x)-1]-middles[1]); x++ {
		a, b := middles[0]+x, middles[1]+x
		y := first.line.At(a)
		if y < 0.03*tops[0] && second.line.At(b) < 0.03*tops[1] {
			end()
			continue // on the heel and its ramps, where run-out is all there is
		}
		off := second.line.At(b) - y
		ux := coverage * worksheet.Combine(first.uLift(a), second.uLift(b), first.uHeel, second.uHeel, first.uRunOut, second.uRunOut, first.line.Slope(a)*math.Hypot(over, first.uCount()/2))
		p := DifferencePoint{degrees(x), millimetres(off), millimetres(ux)}
		d.Points = append(d.Points, p)
		share := math.Abs(off) / max(ux, 1e-9)
		if share > worst {
			worst, d.Most = share, p
		}
		if share < standsOut {
			end()
			continue
		}
		if run == nil || (off > 0) != (run.Off > 0) {
			end()
			run, runWorst = &DifferencePart{Part: partOf(y/tops[0], x), From: p.Angle}, 0
		}
		run.To = p.Angle
		if share > runWorst {
			runWorst, run.Off, run.U, run.Part = share, p.Off, p.U, partOf(y/tops[0], x)
		}
	}
	end()
	if len(d.Points) < 20 {
		return Difference{}, worksheet.Wrongf("compare.second", "shares only %d degrees of the opening with the first: turn the engine through the whole opening", len(d.Points))
	}
	d.Says = d.words()
	for i, c := range []*Curve{first, second} {
		if d.Is == "differs" && c.rows != nil && (c.made.Openings < 2 || c.uSlip > 0) {
			d.Is = "cannot-tell"
			why := "is of one opening, and cannot show whether that would come again"
			if c.uSlip > 0 {
				why = "has turns that do not agree with each other"
			}
			d.Says = worksheet.Sayf("cannot tell: the %s trace %s; turn the engine twice over, more slowly. As it is, %s", []string{"first", "second"}[i], why, d.Says)
		}
	}
	return d, nil
}

// partOf names where on the lobe a place is, by its share of the lift.
func partOf(share, x float64) string {
	switch {
	case share > 0.9:
		return "nose"
	case x < 0:
		return "opening flank"
	}
	return "closing flank"
}

func (d *Difference) words() worksheet.Sentence {
	if len(d.Where) == 0 {
		return worksheet.Sayf("the same, as far as can be told: nowhere do they differ beyond the ± (most: %v ± %v)", worksheet.Rounded(d.Most.Off), worksheet.Rounded(d.Most.U))
	}
	d.Is = "differs"
	var parts []worksheet.Sentence
	for _, w := range d.Where {
		parts = append(parts, worksheet.Sayf("%s by %v ± %v on the %s, %s to %s degrees from the middle", moreOrLess(float64(w.Off), "higher", "lower"), worksheet.Rounded(w.Off.Abs()), worksheet.Rounded(w.U), w.Part, plain(w.From.Degrees()), plain(w.To.Degrees())))
	}
	return worksheet.Sayf("they differ: the second is %s", worksheet.Join(parts, "; "))
}
