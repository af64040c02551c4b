package photo

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Point is a place in a picture: pixels to the right of its left edge and down
// from its upper edge. In JSON it is [x, y].
type Point struct{ X, Y float64 }

// MarshalJSON writes [x, y].
func (p Point) MarshalJSON() ([]byte, error) { return json.Marshal([]float64{p.X, p.Y}) }

// UnmarshalJSON reads [x, y].
func (p *Point) UnmarshalJSON(b []byte) error {
	var xy []*float64 // null would be taken for 0
	if err := json.Unmarshal(b, &xy); err != nil || len(xy) != 2 || xy[0] == nil || xy[1] == nil {
		return &worksheet.Problem{Says: fmt.Sprintf("%.40s will not do: expected a mark as [x, y], in pixels from the upper left corner", b)}
	}
	*p = Point{*xy[0], *xy[1]}
	return nil
}

// Marks are what was marked in one photograph. Every list holds one mark or
// several of the same place, which are averaged and whose scatter is heard.
type Marks struct {
	// StemA and StemB are two places on the axis of the stem, or of the spring.
	StemA []Point `json:"stem_a_px"`
	StemB []Point `json:"stem_b_px"`
	// Pivot, Tip (the axle of a roller, the centre of a pad's curvature) and Ball
	// (the middle of the adjuster's ball, if it can be seen) are centres; or
	// three points or more around each: of a round shaft's end, a roller's rim.
	Pivot    []Point `json:"pivot_px,omitempty"`
	PivotRim []Point `json:"pivot_rim_px,omitempty"`
	Tip      []Point `json:"tip_px,omitempty"`
	TipRim   []Point `json:"tip_rim_px,omitempty"`
	Ball     []Point `json:"ball_px,omitempty"`
	BallRim  []Point `json:"ball_rim_px,omitempty"`
	// KnownA and KnownB are the two ends of something Known long.
	KnownA []Point `json:"known_a_px,omitempty"`
	KnownB []Point `json:"known_b_px,omitempty"`
}

// Photograph is one picture's marks and the lift at which it was taken.
type Photograph struct {
	// Width and Height are the picture's, whole and not cropped, in pixels.
	Width  int `json:"width_px" bound:"pixels"`
	Height int `json:"height_px" bound:"pixels"`
	// AtLift is the valve's lift at the picture; AtLiftU its expanded uncertainty
	// (k = 2, default 0.05 mm). Left out: half lift, held to 0.15 mm.
	AtLift  *measure.Length `json:"at_lift_mm,omitempty" bound:"at lift"`
	AtLiftU *measure.Length `json:"at_lift_u_mm,omitempty" bound:"u"`
	// Known is the true length between KnownA and KnownB.
	Known measure.Length `json:"known_mm,omitzero" bound:"known"`
	// CameraWithin is how far the camera may have looked aside in this picture;
	// left out, as the question has it.
	CameraWithin *measure.Angle `json:"camera_within_deg,omitempty" bound:"camera"`
	Marks
}

// Question asks what one or several photographs of one set-up say.
type Question struct {
	Photographs []Photograph `json:"photographs" flag:"photo" form:"MARKS" help:"a photograph's size, lift and marks, as in \"1600x1200 @ 6.1 mm: stem X,Y X,Y; pivot X,Y; tip X,Y; ball X,Y; known 25 mm X,Y X,Y\"; again for each photograph"`
	// Lift is the valve's full lift; LiftU its expanded uncertainty (k = 2,
	// default 0.02 mm).
	Lift  measure.Length  `json:"lift_mm" bound:"lift" flag:"lift" help:"full lift at the valve"`
	LiftU *measure.Length `json:"lift_u_mm,omitempty" bound:"u" flag:"lift-u" help:"how well that is known (k = 2; default 0.02 mm)"`
	// ValveArm is from pivot to tip's centre, ArmsU its uncertainty (k = 2,
	// default 0.5 mm). Left out: 38 mm give or take 8, and what the pictures say.
	ValveArm measure.Length  `json:"valve_arm_mm,omitzero" bound:"arm" flag:"valve-arm" help:"pivot to the tip's centre (default 38 mm to 8 mm, and what the photographs say)"`
	ArmsU    *measure.Length `json:"arms_u_mm,omitempty" bound:"u" flag:"arms-u" help:"how well the arm is measured (k = 2; default 0.5 mm)"`
	// Bend is used where no ball was marked; left out, straight to 10 deg. BendU
	// default 2 deg. PushrodLean likewise (default along the stem to 5 deg).
	Bend        *measure.Angle `json:"bend_deg,omitempty" bound:"lean" flag:"bend" help:"the rocker's bend, where no ball is marked (default straight, within 10 degrees)"`
	BendU       *measure.Angle `json:"bend_u_deg,omitempty" bound:"angle u" flag:"bend-u" help:"how well the bend was measured (k = 2; default 2 degrees)"`
	PushrodLean *measure.Angle `json:"pushrod_lean_deg,omitempty" bound:"lean" flag:"lean" help:"the pushrod's lean at half lift, lower end towards the pivot"`
	// StandLean is that of the stand's studs against the stem.
	StandLean measure.Angle `json:"stand_lean_deg,omitzero" bound:"lean" flag:"stand-lean" help:"the stand's lean against the stem"`
	// CameraWithin is how far the camera may have looked off the rocker's shaft,
	// either way in both directions. Default 5 deg.
	CameraWithin *measure.Angle `json:"camera_within_deg,omitempty" bound:"camera" flag:"camera-within" help:"how far the camera may have looked off the rocker's shaft, either way (default 5 degrees)"`
	// Distance is from the lens to the rocker. Default 250 mm; what is marked off
	// the picture's centre depends on it.
	Distance measure.Length `json:"distance_mm,omitzero" bound:"distance" flag:"distance" help:"from the lens to the rocker (default 250 mm)"`
	// DepthWithin is by how much the marks of pivot and ball may stand nearer to
	// the camera than the tip's, or farther (rectangular). Default 2.5 mm.
	DepthWithin *measure.Length `json:"depth_within_mm,omitempty" bound:"depth" flag:"depth-within" help:"how much nearer or farther than the tip's mark those of pivot and ball may lie (default 2.5 mm)"`
	// DistortionWithin is the lens's radial distortion in the picture's corners,
	// as a share, either way. Default 0.01.
	DistortionWithin *float64 `json:"distortion_within,omitempty" bound:"distortion" flag:"distortion-within" help:"the lens's distortion in the corners, as a share (default 0.01)"`
	// MarkU is the scatter of one mark (k = 2), in pixels. Left out: 3 pixels, and
	// what repeated marks show.
	MarkU *float64 `json:"mark_u_px,omitempty" bound:"pixel u" flag:"mark-u" help:"scatter of a mark in pixels (k = 2; default 3, and what repeated marks show)"`
	// Tolerance is how far off square at half lift, as a height of the stand, the
	// builder calls square. Default 0.381 mm (0.015 in; common practice, no source).
	Tolerance *measure.Length `json:"tolerance_mm,omitempty" bound:"tolerance" flag:"tolerance" help:"how far off square, as a height of the stand, you call square (default 0.381 mm)"`
}

// What was not told, and how well it is known. Common practice, no source.
const (
	usualArm        = 38.0 // mm
	usualArmU       = 8.0
	defaultArmU     = 500 * measure.Micrometre
	defaultHeldU    = 50 * measure.Micrometre
	handHeldU       = 150 * measure.Micrometre // half lift by the call, not told
	defaultLiftU    = 20 * measure.Micrometre
	defaultCamera   = 5 * measure.Degree
	defaultDistance = 250 * measure.Millimetre
	defaultDepth    = 2500 * measure.Micrometre
	scaleDepth      = 10.0 // mm either way, of the known length
	defaultDistort  = 0.01
	defaultMarkU    = 3.0 // px
	unknownBend     = 10 * measure.Degree
	measuredAngle   = 2 * measure.Degree
	unknownLean     = 5 * measure.Degree
	defaultSquare   = 381 * measure.Micrometre

	mostPhotographs = 20
	mostMarks       = 50     // of one place
	mostPixels      = 50_000 // of a side
	apart           = 0.02   // of the diagonal: the least that two places must be apart
)

// cameraWithin is how far aside the camera may have looked: as is told, or else
// the widest of what is told of each picture. assumed: something was not told.
func (q Question) cameraWithin() (within measure.Angle, assumed bool) {
	if q.CameraWithin != nil {
		return *q.CameraWithin, false
	}
	for _, p := range q.Photographs {
		within = max(within, or(p.CameraWithin, defaultCamera))
		assumed = assumed || p.CameraWithin == nil
	}
	return within, assumed
}

// check finds the first field that cannot be.
func (q Question) check() error {
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return c.Err()
	}
	c.That(len(q.Photographs) > 0, "photographs", "is missing: give at least one photograph with its marks")
	c.That(len(q.Photographs) <= mostPhotographs, "photographs", "has %d: no more than %d", len(q.Photographs), mostPhotographs)
	c.Positive("lift_mm", q.Lift)
	c.That(q.Lift <= 60*measure.Millimetre, "lift_mm", "is %v: expected no more than 60 mm", q.Lift)
	c.That(q.ValveArm == 0 || q.ValveArm >= 5*measure.Millimetre && q.ValveArm <= 500*measure.Millimetre, "valve_arm_mm", "is %v: expected 5 mm to 500 mm", q.ValveArm)
	for _, l := range []struct {
		field string
		l     *measure.Length
		most  measure.Length
	}{{"lift_u_mm", q.LiftU, 5 * measure.Millimetre}, {"arms_u_mm", q.ArmsU, 20 * measure.Millimetre}, {"depth_within_mm", q.DepthWithin, 100 * measure.Millimetre}} {
		c.That(l.l == nil || *l.l >= 0 && *l.l <= l.most, l.field, "is outside of 0 to %v", l.most)
	}
	c.That(q.Distance == 0 || q.Distance >= 50*measure.Millimetre && q.Distance <= 5000*measure.Millimetre, "distance_mm", "is %v: expected 50 mm to 5000 mm from lens to rocker", q.Distance)
	for _, a := range []struct {
		field string
		a     *measure.Angle
		most  measure.Angle
	}{{"bend_deg", q.Bend, 45 * measure.Degree}, {"pushrod_lean_deg", q.PushrodLean, 45 * measure.Degree}, {"stand_lean_deg", &q.StandLean, 45 * measure.Degree}} {
		if a.a != nil {
			c.Lean(a.field, *a.a, a.most)
		}
	}
	for _, a := range []struct {
		field string
		a     *measure.Angle
	}{{"bend_u_deg", q.BendU}, {"camera_within_deg", q.CameraWithin}} {
		c.That(a.a == nil || *a.a >= 0 && *a.a <= 25*measure.Degree, a.field, "is outside of 0 to 25 deg: a picture taken from farther aside measures nothing")
	}
	c.That(q.DistortionWithin == nil || *q.DistortionWithin >= 0 && *q.DistortionWithin <= 0.3, "distortion_within", "is outside of 0 to 0.3, as a share")
	c.That(q.MarkU == nil || *q.MarkU > 0 && *q.MarkU <= 500, "mark_u_px", "is outside of 0 to 500 pixels; no finger marks to nothing")
	if q.Tolerance != nil {
		c.Positive("tolerance_mm", *q.Tolerance)
	}
	if c.Err() == nil {
		for i, p := range q.Photographs {
			p.check(&c, fmt.Sprintf("photographs[%d].", i), q.Lift)
		}
	}
	return c.Err()
}

func (p Photograph) check(c *worksheet.Check, path string, full measure.Length) {
	c.That(p.Width >= 50 && p.Height >= 50 && p.Width <= mostPixels && p.Height <= mostPixels, path+"width_px",
		"and height_px are %d and %d: expected the picture's size in pixels, %d to %d", p.Width, p.Height, 50, mostPixels)
	if p.AtLift != nil {
		c.That(*p.AtLift >= -measure.Millimetre && *p.AtLift <= full+measure.Millimetre, path+"at_lift_mm",
			"is %v: expected the valve's lift at the picture, 0 to the full lift of %v", *p.AtLift, full)
	}
	c.That(p.AtLiftU == nil || *p.AtLiftU >= 0 && *p.AtLiftU <= 5*measure.Millimetre, path+"at_lift_u_mm", "is outside of 0 to 5 mm")
	c.NotNegative(path+"known_mm", p.Known)
	c.That(p.CameraWithin == nil || *p.CameraWithin >= 0 && *p.CameraWithin <= 25*measure.Degree, path+"camera_within_deg", "is outside of 0 to 25 deg: a picture taken from farther aside measures nothing")
	for _, m := range p.places() {
		c.That(len(m.points) <= mostMarks, path+m.field, "has %d marks: no more than %d", len(m.points), mostMarks)
		for j, at := range m.points {
			inside := at.X >= 0 && at.Y >= 0 && at.X <= float64(p.Width) && at.Y <= float64(p.Height) // NaN is nowhere
			c.That(inside, fmt.Sprintf("%s%s[%d]", path, m.field, j), "is outside of the picture of %d by %d pixels", p.Width, p.Height)
		}
	}
	for _, m := range []struct {
		field     string
		list, rim []Point
		must      bool
		what      string
	}{
		{"stem_a_px", p.StemA, nil, true, "one place on the stem's axis"},
		{"stem_b_px", p.StemB, nil, true, "another place on the stem's axis, far from the first"},
		{"pivot_px", p.Pivot, p.PivotRim, true, "the pivot's centre"},
		{"tip_px", p.Tip, p.TipRim, true, "the centre of the tip or of its roller"},
		{"ball_px", p.Ball, p.BallRim, false, ""},
	} {
		c.That(!m.must || len(m.list)+len(m.rim) > 0, path+m.field, "is missing: mark %s", m.what)
		c.That(len(m.list) == 0 || len(m.rim) == 0, path+m.field, "is given as a centre and by its rim: give one of the two")
		c.That(len(m.rim) == 0 || len(m.rim) >= 3, path+m.field[:max(0, len(m.field)-3)]+"_rim_px", "has %d marks: a rim needs three or more", len(m.rim))
	}
	c.That((len(p.KnownA) > 0) == (len(p.KnownB) > 0), path+"known_a_px", "and known_b_px belong together: mark both ends of the known length")
	c.That((len(p.KnownA) > 0) == (p.Known > 0), path+"known_mm", "belongs to two marks, known_a_px and known_b_px, and they to it")
	if c.Err() != nil {
		return
	}
	least := apart * math.Hypot(float64(p.Width), float64(p.Height))
	for _, m := range []struct {
		field    string
		one, two []Point
		what     string
	}{
		{"stem_b_px", p.StemA, p.StemB, "the two marks on the stem's axis"},
		{"tip_px", either(p.Pivot, p.PivotRim), either(p.Tip, p.TipRim), "the marks of pivot and tip"},
		{"ball_px", either(p.Pivot, p.PivotRim), either(p.Ball, p.BallRim), "the marks of pivot and ball"},
		{"known_b_px", p.KnownA, p.KnownB, "the two ends of the known length"},
	} {
		if len(m.one) > 0 && len(m.two) > 0 {
			a, b := middle(m.one), middle(m.two)
			c.That(math.Hypot(a.X-b.X, a.Y-b.Y) >= least, path+m.field,
				"lies on top of another mark: %s must be at least %.0f pixels apart", m.what, least)
		}
	}
}

func either(a, b []Point) []Point {
	if len(a) > 0 {
		return a
	}
	return b
}

// place is a list of marks and the field that holds it.
type place struct {
	field  string
	points []Point
}

func (m Marks) places() []place {
	return []place{
		{"stem_a_px", m.StemA}, {"stem_b_px", m.StemB},
		{"pivot_px", m.Pivot}, {"pivot_rim_px", m.PivotRim}, {"tip_px", m.Tip}, {"tip_rim_px", m.TipRim},
		{"ball_px", m.Ball}, {"ball_rim_px", m.BallRim}, {"known_a_px", m.KnownA}, {"known_b_px", m.KnownB},
	}
}

// Empty reports whether nothing is marked yet.
func (m Marks) Empty() bool {
	return !slices.ContainsFunc(m.places(), func(p place) bool { return len(p.points) > 0 })
}

func middle(points []Point) Point {
	var m Point
	for _, p := range points {
		m.X += p.X / float64(len(points))
		m.Y += p.Y / float64(len(points))
	}
	return m
}
