package timing

import (
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Crank is a slider-crank: stroke, connecting rod between centres, wrist pin in
// line with the bore.
//
//	travel from TDC = l + a - (a cos θ + √(l² - a² sin² θ)),  a = stroke/2
//
// Source: Heywood, Internal Combustion Engine Fundamentals, eqs 2.4-2.6 (from
// memory; the geometry is elementary and was derived again).
type Crank struct {
	Stroke measure.Length `json:"stroke_mm" bound:"stroke"`
	Rod    measure.Length `json:"rod_mm" bound:"rod"`
}

// Check names the dimension that cannot be.
func (k Crank) Check() error {
	switch {
	case k.Stroke <= 0 || k.Stroke > 5000*measure.Millimetre:
		return worksheet.Wrongf("stroke_mm", "%v is no engine's stroke", k.Stroke)
	case k.Rod > 0 && k.Rod < k.Stroke && k.Rod > k.Stroke/2:
		return worksheet.Wrongf("rod_mm", "%v is shorter than the stroke of %v, as no engine's rod between its centres is: were the two swapped?", k.Rod, k.Stroke)
	case k.Rod <= k.Stroke/2 || k.Rod > 20_000*measure.Millimetre:
		return worksheet.Wrongf("rod_mm", "%v is no rod for a stroke of %v: it must be longer than the crank throw", k.Rod, k.Stroke)
	}
	return nil
}

// Travel returns how far the piston stands below its top at a crank angle from
// top dead centre, either side.
func (k Crank) Travel(angle measure.Angle) measure.Length {
	return millimetres(k.travel(angle.Degrees()))
}

func (k Crank) travel(deg float64) float64 {
	a, l := k.Stroke.Millimetres()/2, k.Rod.Millimetres()
	sin, cos := math.Sincos(deg * math.Pi / 180)
	// l - √(l² - a² sin²) loses digits near TDC; multiplied out it does not.
	s := a * sin
	root := math.Sqrt(l*l - s*s)
	return a*(1-cos) + s*s/(l+root)
}

// slope returns the travel per crank degree, in mm.
func (k Crank) slope(deg float64) float64 {
	a, l := k.Stroke.Millimetres()/2, k.Rod.Millimetres()
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return math.Pi / 180 * a * sin * (1 + a*cos/math.Sqrt(l*l-a*a*sin*sin))
}

// pinMoves returns by how many crank degrees the middle between two equal heights
// of the piston, half degrees either side, lies from its top when the wrist pin
// stands off the cylinder's axis. Equal heights of a - a cos - sqrt(l^2 - (a sin -
// e)^2) have their middle at e/(sqrt(l^2 - a^2 sin^2) + a cos) to first order, the top
// lies at e/(l + a): derived here.
func (k Crank) pinMoves(half, offset float64) float64 {
	a, l := k.Stroke.Millimetres()/2, k.Rod.Millimetres()
	s, c := math.Sincos(half * math.Pi / 180)
	return math.Abs(offset) * (1/(math.Sqrt(l*l-a*a*s*s)+a*c) - 1/(l+a)) * 180 / math.Pi
}

// SpeedRatio returns the piston's speed over its mean speed 2·stroke·rev
// (Heywood eq. 2.11, from memory).
func (k Crank) SpeedRatio(angle measure.Angle) float64 {
	return 90 * k.slope(angle.Degrees()) * 2 / k.Stroke.Millimetres()
}

// VolumeRatio returns the cylinder's volume over the clearance volume for a
// compression ratio (Heywood eq. 2.6, from memory).
func (k Crank) VolumeRatio(compression float64, angle measure.Angle) float64 {
	return 1 + (compression-1)*k.travel(angle.Degrees())/k.Stroke.Millimetres()
}

// AngleAt returns the crank angle from top dead centre, 0 to 180, at which the
// piston has travelled that far from its top.
func (k Crank) AngleAt(travel measure.Length) (measure.Angle, error) {
	if travel < 0 || travel > k.Stroke {
		return 0, fmt.Errorf("piston travel %v: it must be from 0 to the stroke of %v", travel, k.Stroke)
	}
	// In closed form, from the triangle of throw, rod and wrist pin:
	// with d = a + l - travel, cos θ = (a² + d² - l²) / (2 a d).
	a, l := k.Stroke.Millimetres()/2, k.Rod.Millimetres()
	d := a + l - travel.Millimetres()
	cos := (a*a + d*d - l*l) / (2 * a * d)
	return degrees(math.Acos(min(max(cos, -1), 1)) * 180 / math.Pi), nil
}

// AngleBeforeBottom is [Crank.AngleAt] counted from bottom dead centre, for
// travel from the piston's lowest point.
func (k Crank) AngleBeforeBottom(travel measure.Length) (measure.Angle, error) {
	if travel < 0 || travel > k.Stroke {
		return 0, fmt.Errorf("piston travel %v: it must be from 0 to the stroke of %v", travel, k.Stroke)
	}
	a, err := k.AngleAt(k.Stroke - travel)
	return measure.Turn/2 - a, err
}
