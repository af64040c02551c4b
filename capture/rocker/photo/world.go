package photo

import (
	"errors"
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// shot is one photograph as the formulas want it: places from the picture's
// centre, millimetres.
type shot struct {
	lift, heldU                              float64 // mm; one standard deviation
	stemA, stemB, pivot, tip, ball, from, to mark
	ball_, known                             bool
	length                                   float64 // of the known, mm
	corner                                   float64
}

// world is everything that the answer hangs on. Its numbers are moved one by one.
type world struct {
	shots             []shot
	alpha, beta       float64
	bulge             float64
	distance          float64 // mm
	pivotDepth        float64 // mm nearer to the camera than the tip
	ballDepth, scaled float64
	lift              float64 // full, mm
	arm, armSD        float64 // as told or usual, mm
	bend, rodLean     float64 // bend where no ball was marked
	standLean         float64
}

// seen is what one shot shows.
type seen struct {
	theta      float64 // arm below square
	bend       float64
	armPx, bPx float64
	arm        float64 // by the known length, mm; 0 without
}

// errAlong says that the marks cannot be an arm that stands across its stem.
var errAlong = errors.New("the arm from pivot to tip runs along the stem, not across it: were the marks of pivot and stem taken for each other?")

// look works a shot out.
func (w *world) look(s shot) (seen, error) {
	var v seen
	// The picture's scale, for what is told in millimetres of depth and distance.
	// It goes into small terms only.
	perMM := s.tip.at.less(s.pivot.at).length() / w.arm
	if s.known {
		perMM = s.from.at.less(s.to.at).length() / s.length
	}
	c := camera{w.alpha, w.beta, w.distance * perMM, w.bulge, s.corner}
	tip := c.back(s.tip.at, 0)
	pivot := c.back(s.pivot.at, w.pivotDepth*perMM)
	one, two := c.back(s.stemA.at, 0), c.back(s.stemB.at, 0)
	if one.less(tip).length() > two.less(tip).length() {
		one, two = two, one // the valve opens away from the tip
	}
	open := two.less(one)
	open = open.times(1 / open.length())
	arm := tip.less(pivot)
	out := vec{-open.y, open.x}
	if out.dot(arm) < 0 {
		out = out.times(-1)
	}
	v.armPx = arm.length()
	v.theta = math.Atan2(arm.dot(open), arm.dot(out))
	if math.Abs(v.theta) > steepest {
		return v, errAlong
	}
	v.bend = w.bend
	if s.ball_ {
		b := c.back(s.ball.at, w.ballDepth*perMM).less(pivot)
		v.bPx = b.length()
		v.bend = math.Atan2(-b.dot(open), -b.dot(out)) - v.theta
		if math.Abs(v.bend) > steepest {
			return v, fmt.Errorf("the marks of tip, pivot and ball make a bend of %.0f degrees: were two of them taken for each other?", v.bend*180/math.Pi)
		}
	}
	if s.known {
		d := w.scaled * perMM
		v.arm = v.armPx / c.back(s.to.at, d).less(c.back(s.from.at, d)).length() * s.length
	}
	return v, nil
}

const steepest = 50 * math.Pi / 180

// input is one cause of doubt: its standard deviation is in the moves. bounded
// says that it is known by its bounds, not normally distributed; bent, that its
// second order and its products with others are counted.
type input struct {
	of   string
	bent bool
	move func(w *world, by float64)
}

// The causes, as the answer names them.
const (
	ofMarks      = "marks"
	ofCamera     = "camera out of line"
	ofDepth      = "marks at different depths"
	ofDistortion = "lens distortion"
	ofHeld       = "lift at the picture"
	ofLift       = "full lift"
	ofArm        = "valve arm"
	ofBend       = "bend and pushrod's lean"
)

// setting is a world while it is set up: what it hangs on is listed, and what was assumed.
type setting struct {
	q      Question
	w      *world
	inputs []input
	basis  *worksheet.Basis
}

// flat divides the half width of a rectangular distribution, for its standard deviation:
// the root of 3.
const flat = 1.7320508075688772

// world sets the question up, lists what it hangs on and says what was assumed.
func (q Question) world(basis *worksheet.Basis) (*world, []input, error) {
	s := setting{q: q, basis: basis, w: &world{lift: q.Lift.Millimetres(), distance: defaultDistance.Millimetres(), standLean: radians(q.StandLean)}}
	s.camera()
	s.rocker()
	if err := s.shots(); err != nil {
		return nil, nil, err
	}
	basis.Assume("stem and rocker lie in one plane, nothing bends")
	basis.Cite("pinhole camera: Hartley and Zisserman, Multiple View Geometry, 2nd ed., section 6.1 (from memory); its first and second order derived in package photo")
	return s.w, s.inputs, nil
}

// add lists a cause that moves one number of the world.
func (s *setting) add(of string, bent bool, sd float64, at func(w *world) *float64) {
	if sd > 0 {
		s.inputs = append(s.inputs, input{of, bent, func(w *world, by float64) { *at(w) += by * sd }})
	}
}

// camera sets up where the camera stood and what its lens does.
func (s *setting) camera() {
	q, w := s.q, s.w
	within, assumed := q.cameraWithin()
	if assumed {
		s.basis.Assume("the camera looked along the rocker's shaft to %v either way, up and down and sideways", within)
	}
	s.add(ofCamera, true, radians(within)/flat, func(w *world) *float64 { return &w.alpha })
	s.add(ofCamera, true, radians(within)/flat, func(w *world) *float64 { return &w.beta })
	if q.Distance > 0 {
		w.distance = q.Distance.Millimetres()
	} else {
		s.basis.Assume("the lens was %v from the rocker or farther; the picture was not cropped, so that its middle is where the camera looked", defaultDistance)
	}
	depth := or(q.DepthWithin, defaultDepth)
	if q.DepthWithin == nil {
		s.basis.Assume("pivot, tip and ball were marked at one depth, to %v either way", depth)
	}
	s.add(ofDepth, true, depth.Millimetres()/flat, func(w *world) *float64 { return &w.pivotDepth })
	s.add(ofDepth, true, depth.Millimetres()/flat, func(w *world) *float64 { return &w.ballDepth })
	distortion := or(q.DistortionWithin, defaultDistort)
	if q.DistortionWithin == nil {
		s.basis.Assume("the lens distorts by no more than %g %% in the picture's corners", 100*distortion)
	}
	s.add(ofDistortion, true, distortion/flat, func(w *world) *float64 { return &w.bulge })
}

// rocker sets up lift, arm, bend and the pushrod's lean.
func (s *setting) rocker() {
	q, w := s.q, s.w
	s.add(ofLift, false, or(q.LiftU, defaultLiftU).Millimetres()/2, func(w *world) *float64 { return &w.lift })
	w.arm, w.armSD = q.ValveArm.Millimetres(), or(q.ArmsU, defaultArmU).Millimetres()/2
	if q.ValveArm == 0 {
		w.arm, w.armSD = usualArm, usualArmU/2
		s.basis.Assume("the valve's arm was not told: taken as %v ± %v, and what the photographs say of it", measure.FromMillimetres(usualArm), measure.FromMillimetres(usualArmU))
	}
	w.armSD = max(w.armSD, 1e-6)
	s.add(ofArm, false, w.armSD, func(w *world) *float64 { return &w.arm })
	if q.Bend != nil {
		w.bend = radians(*q.Bend)
	}
	leanU := unknownLean
	if q.PushrodLean != nil {
		w.rodLean, leanU = radians(*q.PushrodLean), measuredAngle
	} else {
		s.basis.Assume("the pushrod runs along the stem to %v", unknownLean)
	}
	s.add(ofBend, false, radians(leanU)/2, func(w *world) *float64 { return &w.rodLean })
}

// shots sets up the photographs with their marks.
func (s *setting) shots() error {
	q, w := s.q, s.w
	var sc scatter
	balls, scaled := 0, false
	for i, p := range q.Photographs {
		shot, err := p.shot(q.Lift, &sc)
		if err != nil {
			return wrongRim(i, err)
		}
		if shot.ball_ {
			balls++
		}
		scaled = scaled || shot.known
		w.shots = append(w.shots, shot)
		if p.AtLift == nil {
			s.basis.Assume("a photograph whose lift was not told was taken at half lift, to %v", handHeldU)
		}
	}
	if balls < len(w.shots) {
		bendU := or(q.BendU, unknownBend)
		if q.Bend != nil {
			bendU = or(q.BendU, measuredAngle)
		}
		s.add(ofBend, false, radians(bendU)/2, func(w *world) *float64 { return &w.bend })
		if q.Bend == nil {
			s.basis.Assume("the rocker is straight to %v: neither its ball was marked nor its bend told", unknownBend)
		}
	}
	if scaled {
		s.add(ofDepth, true, scaleDepth/flat, func(w *world) *float64 { return &w.scaled })
		s.basis.Assume("the known length lies at the rocker's depth to %v either way", measure.FromMillimetres(scaleDepth))
	}
	one := q.scatter(sc, s.basis)
	for i := range w.shots {
		s.add(ofHeld, false, w.shots[i].heldU, func(w *world) *float64 { return &w.shots[i].lift })
		for _, at := range markPlaces {
			for _, by := range at(&w.shots[i]).along(one) {
				if by.length() > 0 {
					s.inputs = append(s.inputs, input{ofMarks, false, func(w *world, times float64) {
						m := at(&w.shots[i])
						m.at = m.at.plus(by.times(times))
					}})
				}
			}
		}
	}
	return nil
}

// markPlaces are the places of a shot; one that was not marked has no spread.
var markPlaces = []func(*shot) *mark{
	func(s *shot) *mark { return &s.stemA }, func(s *shot) *mark { return &s.stemB },
	func(s *shot) *mark { return &s.pivot }, func(s *shot) *mark { return &s.tip }, func(s *shot) *mark { return &s.ball },
	func(s *shot) *mark { return &s.from }, func(s *shot) *mark { return &s.to },
}

// scatter is that of one mark, in pixels (one standard deviation): as told, as
// assumed, and as repeated marks show. What is assumed counts as much as three
// differences seen.
func (q Question) scatter(seen scatter, basis *worksheet.Basis) float64 {
	if q.MarkU != nil {
		told := *q.MarkU / 2
		if shown := math.Sqrt(seen.squares / max(seen.freedom, 1)); seen.freedom >= 4 && shown > 1.5*told {
			basis.Assume("repeated marks scatter more than was told, ± %.2g pixels: that is what counts", 2*shown)
			return shown
		}
		return told
	}
	const assumed = defaultMarkU / 2
	if seen.freedom == 0 {
		basis.Assume("a mark lies within %g pixels of where it belongs (k = 2)", defaultMarkU)
		return assumed
	}
	const weight = 3.0
	one := math.Sqrt((weight*assumed*assumed + seen.squares) / (weight + seen.freedom))
	basis.Assume("a mark lies within %.2g pixels of where it belongs (k = 2), as repeated marks show", 2*one)
	return one
}

// shot turns a photograph's lists into places.
func (p Photograph) shot(full measure.Length, sc *scatter) (shot, error) {
	centre := vec{float64(p.Width) / 2, float64(p.Height) / 2}
	s := shot{lift: full.Millimetres() / 2, heldU: handHeldU.Millimetres() / 2, corner: centre.length(), length: p.Known.Millimetres()}
	if p.AtLift != nil {
		s.lift, s.heldU = p.AtLift.Millimetres(), defaultHeldU.Millimetres()/2
	}
	if p.AtLiftU != nil {
		s.heldU = p.AtLiftU.Millimetres() / 2
	}
	s.stemA, s.stemB = averaged(p.StemA, centre, sc), averaged(p.StemB, centre, sc)
	for _, m := range []struct {
		dst       *mark
		name      string
		list, rim []Point
	}{{&s.pivot, "pivot", p.Pivot, p.PivotRim}, {&s.tip, "tip", p.Tip, p.TipRim}, {&s.ball, "ball", p.Ball, p.BallRim}} {
		switch {
		case len(m.list) > 0:
			*m.dst = averaged(m.list, centre, sc)
		case len(m.rim) > 0:
			var err error
			if *m.dst, err = rim(m.rim, centre, sc); err != nil {
				return s, &worksheet.Problem{Field: m.name + "_rim_px", Says: err.Error()}
			}
		}
	}
	s.ball_ = len(p.Ball)+len(p.BallRim) > 0
	if s.known = p.Known > 0; s.known {
		s.from, s.to = averaged(p.KnownA, centre, sc), averaged(p.KnownB, centre, sc)
	}
	return s, nil
}

func wrongRim(i int, err error) error {
	var p *worksheet.Problem
	if errors.As(err, &p) {
		return worksheet.Wrongf(fmt.Sprintf("photographs[%d].%s", i, p.Field), "%s", p.Says)
	}
	return err
}

func or[T any](v *T, otherwise T) T {
	if v != nil {
		return *v
	}
	return otherwise
}

func radians(a measure.Angle) float64 { return a.Degrees() * math.Pi / 180 }

func degrees(rad float64) measure.Angle { return measure.FromDegrees(rad * 180 / math.Pi) }

func mm(v float64) measure.Length { return measure.FromMillimetres(v) }
