package timing

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// PortInput is what the gas passes at a valve.
type PortInput struct {
	// Head is the diameter of the valve's head over its seat, SeatWidth that of the
	// seat as it lies (default none: a sharp seat), SeatAngle the seat's against the
	// head's face, default 45 degrees.
	Head      measure.Length `json:"head_mm,omitzero" bound:"port"`
	SeatWidth measure.Length `json:"seat_width_mm,omitzero" bound:"seat"`
	SeatAngle measure.Angle  `json:"seat_angle_deg,omitzero" bound:"seat face"`
	// Throat is the narrowest diameter below the seat, Stem that of the stem in it.
	Throat measure.Length `json:"throat_mm,omitzero" bound:"port"`
	Stem   measure.Length `json:"stem_mm,omitzero" bound:"stem"`
	// U is the expanded uncertainty (k = 2) of each diameter, default 0.1 mm (a
	// caliper; common practice, no source).
	U *measure.Length `json:"diameters_u_mm,omitempty" bound:"u"`
}

const caliperU = 100 * measure.Micrometre

func (p PortInput) check(c *worksheet.Check, field string) {
	c.Positive(field+".head_mm", p.Head)
	c.Positive(field+".throat_mm", p.Throat)
	c.NotNegative(field+".seat_width_mm", p.SeatWidth)
	c.NotNegative(field+".stem_mm", p.Stem)
	c.That(p.SeatAngle >= 0 && p.SeatAngle <= 60*measure.Degree, field+".seat_angle_deg", "is %v: expected 0 (flat) to 60 degrees", p.SeatAngle)
	c.That(p.Stem < p.Throat, field+".stem_mm", "is %v, which fills the throat of %v", p.Stem, p.Throat)
	c.That(p.Throat <= p.Head, field+".throat_mm", "is %v, wider than the head of %v", p.Throat, p.Head)
	c.That(p.SeatWidth.Millimetres() < p.Head.Millimetres()/4, field+".seat_width_mm", "is %v: too wide for a head of %v", p.SeatWidth, p.Head)
	if p.U != nil {
		c.That(*p.U >= 0 && *p.U <= 2*measure.Millimetre, field+".diameters_u_mm", "is %v: expected 0 to 2 mm", *p.U)
	}
}

// PortFlow is the least area that the gas passes, as the valve opens and closes.
// Areas are mm2, their sums over the crank mm2 times degrees; U are expanded.
type PortFlow struct {
	// Throat is the throat's area less the stem's; Curtain the area between seat and
	// head at max lift.
	Throat   float64 `json:"throat_mm2"`
	ThroatU  float64 `json:"throat_u_mm2"`
	Curtain  float64 `json:"curtain_mm2"`
	CurtainU float64 `json:"curtain_u_mm2"`
	// Even is the lift at which the curtain is as large as the throat, from which on
	// more lift alone gives nothing; absent where the valve does not come to it. For
	// are the crank degrees over which the throat is the narrower of the two.
	Even *measure.Length `json:"even_mm,omitempty"`
	For  measure.Angle   `json:"throat_rules_deg,omitzero"`
	// Sum is the curtain's area over the opening, SumLeast that of the narrower of
	// curtain and throat at each moment.
	Sum       float64            `json:"curtain_mm2_deg"`
	SumU      float64            `json:"curtain_u_mm2_deg"`
	SumLeast  float64            `json:"least_mm2_deg"`
	SumLeastU float64            `json:"least_u_mm2_deg"`
	Says      worksheet.Sentence `json:"says"`
}

// port is a PortInput in mm and radians.
type port struct{ head, width, angle, throat, stem float64 }

// curtain is the area between seat and head at a lift, after Heywood's first two
// stages: while the seats face each other, the frustum square to them,
//
//	pi L cos(beta) (D - 2 w + L/2 sin(2 beta))
//
// and beyond, that between the seats' inner edge and the head,
//
//	pi Dm sqrt((L - w tan(beta))^2 + w^2),     Dm = D - w
//
// with w the seat's width across the port (as it lies times the cosine of beta) and D
// over the seat. Where the two meet they are equal.
func (p port) curtain(lift float64) float64 {
	if lift <= 0 {
		return 0
	}
	s, c := math.Sincos(p.angle)
	w := p.width * c
	if s == 0 || w == 0 || lift <= w/(s*c) {
		return math.Pi * lift * c * (p.head - 2*w + lift/2*math.Sin(2*p.angle))
	}
	return math.Pi * (p.head - w) * math.Hypot(lift-w*math.Tan(p.angle), w)
}

func (p port) free() float64 { return math.Pi / 4 * (sq(p.throat) - sq(p.stem)) }

// portFlow works out curtain and throat over the curve at the valve.
func (c *Curve) portFlow(in PortInput) (PortFlow, error) {
	angle := in.SeatAngle
	if angle == 0 {
		angle = 45 * measure.Degree
	}
	p := port{in.Head.Millimetres(), in.SeatWidth.Millimetres(), angle.Degrees() * math.Pi / 180, in.Throat.Millimetres(), in.Stem.Millimetres()}
	at, err := c.atValve()
	if err != nil {
		return PortFlow{}, err
	}
	type sums struct {
		curtain, throat, sum, least, rules float64
		even                               float64
	}
	work := func(p port, lifted func(lift float64) float64) sums {
		s := sums{throat: p.free(), curtain: p.curtain(lifted(at.top))}
		const step = 0.25
		for x := at.from; x <= at.to; x += step {
			a := p.curtain(lifted(at.lift(x)))
			s.sum += a * step
			s.least += min(a, s.throat) * step
			if a > s.throat {
				s.rules += step
			}
		}
		low, high := 0.0, lifted(at.top)
		if s.curtain > s.throat {
			for range 50 {
				if mid := (low + high) / 2; p.curtain(mid) < s.throat {
					low = mid
				} else {
					high = mid
				}
			}
			s.even = high
		}
		return s
	}
	same := func(lift float64) float64 { return lift }
	s := work(p, same)
	u := orElse(in.U, caliperU).Millimetres()
	var uThroat, uCurtain, uSum, uLeast float64
	add := func(moved sums) {
		uThroat, uCurtain = math.Hypot(uThroat, moved.throat-s.throat), math.Hypot(uCurtain, moved.curtain-s.curtain)
		uSum, uLeast = math.Hypot(uSum, moved.sum-s.sum), math.Hypot(uLeast, moved.least-s.least)
	}
	for _, field := range []func(*port) *float64{
		func(p *port) *float64 { return &p.head }, func(p *port) *float64 { return &p.throat }, func(p *port) *float64 { return &p.stem },
	} {
		moved := p
		if v := field(&moved); *v > 0 {
			*v += u
			add(work(moved, same))
		}
	}
	if p.width > 0 {
		moved := p
		moved.width += u
		add(work(moved, same))
	}
	// A lift that is off is off over the whole opening: by the heel, and by the ratio.
	share := at.u / max(at.top, 1e-9)
	add(work(p, func(lift float64) float64 {
		if lift <= 0 {
			return lift
		}
		return lift*(1+at.share) + math.Sqrt(max(sq(share*at.top)-sq(at.share*at.top), 0))
	}))
	f := PortFlow{Throat: s.throat, ThroatU: uThroat, Curtain: s.curtain, CurtainU: uCurtain, Sum: s.sum, SumU: uSum, SumLeast: s.least, SumLeastU: uLeast}
	area, sum := worksheet.SquareMillimetres, worksheet.SquareMillimetreDegrees
	if s.even > 0 {
		f.Even, f.For = new(millimetres(s.even)), degrees(s.rules)
		f.Says = worksheet.Sayf("the curtain is as large as the throat, %v ± %v, at %v of lift; for %.0f degrees of crank the throat is the narrower; the narrower of the two comes to %v ± %v",
			area(f.Throat), area(f.ThroatU), worksheet.Rounded(*f.Even), f.For.Degrees(), sum(f.SumLeast), sum(f.SumLeastU))
	} else {
		f.Says = worksheet.Sayf("the curtain comes to %v ± %v at full lift and stays below the throat's %v ± %v; it comes to %v ± %v",
			area(f.Curtain), area(f.CurtainU), area(f.Throat), area(f.ThroatU), sum(f.SumLeast), sum(f.SumLeastU))
	}
	return f, nil
}

// valveSide is the lift at the valve over an opening, with what the whole of it may
// be off at the top: u in all, share of the ratio (expanded).
type valveSide struct {
	from, to, top float64
	lift          func(x float64) float64
	u, share      float64
}

// atValve is the curve as the valve moves: itself, or the lobe's by the ratio less
// the lash.
func (c *Curve) atValve() (valveSide, error) {
	n := c.Nose()
	x := c.top.x
	least := max(1e-3*c.top.y, 2*c.uHeel)
	v := valveSide{from: c.x[0], to: c.x[len(c.x)-1], top: n.MaxLift.Millimetres(), u: n.MaxLiftU.Millimetres(), lift: c.line.At}
	if a, _, ok := c.line.Down(x, least, -1); ok {
		v.from = a
	}
	if b, _, ok := c.line.Down(x, least, +1); ok {
		v.to = b
	}
	if c.options.MeasuredAt == AtValve {
		return v, nil
	}
	t := c.transfer
	if t == nil {
		t = byOneNumber(c.options)
	}
	lash := c.options.Lash.Millimetres()
	if t.own {
		lash = 0
	}
	of := func(lobe float64) float64 {
		l, _ := t.valve(lobe)
		return l - lash
	}
	_, u := t.valve(v.top)
	ratio, _, _, _ := t.slopes(v.top)
	v.share = coverage * u / max(of(v.top), 1e-9)
	v.u = math.Hypot(coverage*u, v.u*ratio)
	v.top = of(v.top)
	v.lift = func(x float64) float64 { return of(c.line.At(x)) }
	return v, nil
}

func orElse[T any](v *T, otherwise T) T {
	if v != nil {
		return *v
	}
	return otherwise
}
