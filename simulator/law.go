package simulator

import "math"

// Law is a law of motion over one rise: from At(0) = 0 to At(1) = 1 and never
// falling between. A fall runs through it the other way.
type Law interface {
	At(x float64) float64
	String() string
}

// Textbook is one of the laws of rise that the handbooks of cam design print
// (Norton, Cam Design and Manufacturing Handbook; Shigley & Uicker, Theory of
// Machines and Mechanisms; both from memory).
type Textbook uint8

// The textbook laws, with x the part of the rise gone through.
const (
	SimpleHarmonic    Textbook = iota + 1 // (1 - cos pi x)/2
	Cycloidal                             // x - sin(2 pi x)/(2 pi)
	Polynomial345                         // 10x^3 - 15x^4 + 6x^5
	Polynomial4567                        // 35x^4 - 84x^5 + 70x^6 - 20x^7
	ModifiedSine                          // sine of two frequencies in three pieces
	ModifiedTrapezoid                     // trapezoid of acceleration with sine corners
)

// Laws lists the textbook laws.
func Laws() []Textbook {
	return []Textbook{SimpleHarmonic, Cycloidal, Polynomial345, Polynomial4567, ModifiedSine, ModifiedTrapezoid}
}

// String returns the law's name in the trade.
func (l Textbook) String() string {
	switch l {
	case SimpleHarmonic:
		return "simple harmonic"
	case Cycloidal:
		return "cycloidal"
	case Polynomial345:
		return "3-4-5"
	case Polynomial4567:
		return "4-5-6-7"
	case ModifiedSine:
		return "modified sine"
	case ModifiedTrapezoid:
		return "modified trapezoid"
	}
	return "no law"
}

// At returns the part of the rise done at x. All these laws are symmetric,
// At(1-x) = 1 - At(x), hence at half of the rise exactly at x = 1/2.
func (l Textbook) At(x float64) float64 {
	x = min(max(x, 0), 1)
	switch l {
	case SimpleHarmonic:
		return (1 - math.Cos(math.Pi*x)) / 2
	case Cycloidal:
		return x - math.Sin(2*math.Pi*x)/(2*math.Pi)
	case Polynomial345:
		return x * x * x * (10 + x*(-15+6*x))
	case Polynomial4567:
		return x * x * x * x * (35 + x*(-84+x*(70-20*x)))
	case ModifiedSine:
		return modifiedSine(x)
	case ModifiedTrapezoid:
		if x > 0.5 {
			return 1 - modifiedTrapezoid(1-x)
		}
		return modifiedTrapezoid(x)
	}
	panic("simulator: law of motion without a formula")
}

func modifiedSine(x float64) float64 {
	const c = 1 / (4 + math.Pi)
	switch {
	case x <= 0.125:
		return c * (math.Pi*x - math.Sin(4*math.Pi*x)/4)
	case x <= 0.875:
		return c * (2 + math.Pi*x - 9./4*math.Sin(4*math.Pi*x/3+math.Pi/3))
	}
	return c * (4 + math.Pi*x - math.Sin(4*math.Pi*x)/4)
}

// modifiedTrapezoid is the first half of the law, 0 <= x <= 1/2.
func modifiedTrapezoid(x float64) float64 {
	const k = 1 / (2 + math.Pi)
	switch {
	case x <= 0.125:
		return k * (2*x - math.Sin(4*math.Pi*x)/(2*math.Pi))
	case x <= 0.375:
		y := x - 0.125
		return k * (0.25 - 1/(2*math.Pi) + 2*y + 4*math.Pi*y*y)
	}
	return k * (-math.Pi/2 + 2*(1+math.Pi)*x - math.Sin(4*math.Pi*(x-0.25))/(2*math.Pi))
}

// EvenPolynomial is half of an even polynomial lobe, s = 1 + sum C_i y^p_i with
// y = 0 at the nose and 1 at the end, where s and its first three derivatives
// vanish. Powers are four different even numbers from 2 up.
type EvenPolynomial struct {
	Powers [4]int
}

// The two choices of powers that are met in print (from memory).
var (
	even2101826 = EvenPolynomial{[4]int{2, 10, 18, 26}}
	even2101214 = EvenPolynomial{[4]int{2, 10, 12, 14}}
)

// Even2101826 returns the even polynomial of powers 2-10-18-26.
func Even2101826() EvenPolynomial { return even2101826 }

// Even2101214 returns the even polynomial of powers 2-10-12-14.
func Even2101214() EvenPolynomial { return even2101214 }

// String returns the name made of the powers.
func (l EvenPolynomial) String() string {
	s := "even polynomial"
	for i, p := range l.Powers {
		sep := "-"
		if i == 0 {
			sep = " "
		}
		s += sep + itoa(p)
	}
	return s
}

// Coefficients returns C_i. With z = y^2 and q = p/2 the conditions at z = 1
// are sum C = -1 and sum C q^k = 0 for k = 1..3 (the derivatives by ln z), a
// Vandermonde system, whose solution is C_i = -prod q_j/(q_j - q_i), j != i.
func (l EvenPolynomial) Coefficients() [4]float64 {
	var c [4]float64
	for i, p := range l.Powers {
		c[i] = -1
		for j, r := range l.Powers {
			if j != i {
				c[i] *= float64(r) / float64(r-p)
			}
		}
	}
	return c
}

// At returns the part of the rise done at x.
func (l EvenPolynomial) At(x float64) float64 {
	x = min(max(x, 0), 1)
	y := 1 - x
	s := 1.0
	for i, c := range l.Coefficients() {
		s += c * math.Pow(y, float64(l.Powers[i]))
	}
	return min(max(s, 0), 1)
}

// ThreeArc is the flank of a cam of circular arcs under a flat follower, the
// classic case of the theory of machines. With t the cam angle from the nose,
//
//	lift = c cos t + rn - rb            on the nose arc,
//	lift = (Rf - rb)(1 - cos(t0 - t))   on the flank arc,
//
// c = rb + rise - rn, both in the same unit. All four in millimetres.
type ThreeArc struct {
	Base, Flank, Nose float64 // radii rb, Rf, rn
	Rise              float64 // lobe lift
}

// Lobe returns the symmetric lobe of these arcs.
func (l ThreeArc) Lobe() Lobe {
	half := degrees(l.halfAngle())
	return Lobe{Rise: l, Fall: l, Lift: fromMM(l.Rise), RiseAngle: fromDeg(half), FallAngle: fromDeg(half)}
}

// HalfAngle returns t0, the cam angle from nose to base circle, in degrees.
func (l ThreeArc) HalfAngle() float64 { return degrees(l.halfAngle()) }

// halfAngle returns t0 from the triangle of the three arc centres: c between
// base and nose centre, Rf - rb and Rf - rn to the flank centre.
func (l ThreeArc) halfAngle() float64 {
	c, f, n := l.Base+l.Rise-l.Nose, l.Flank-l.Base, l.Flank-l.Nose
	// The flank centre lies behind the base centre: the angle at the base
	// centre between nose and flank is pi - t0.
	return math.Pi - math.Acos((c*c+f*f-n*n)/(2*c*f))
}

// Junction returns the cam angle from the nose where the two arcs meet, in
// degrees.
func (l ThreeArc) Junction() float64 { return degrees(l.junction()) }

// junction is where both formulas give the same lift: the common normal of
// both arcs, at the angle phi of the triangle at the flank centre from t0.
func (l ThreeArc) junction() float64 {
	c, f, n := l.Base+l.Rise-l.Nose, l.Flank-l.Base, l.Flank-l.Nose
	return l.halfAngle() - math.Acos((f*f+n*n-c*c)/(2*f*n))
}

// LiftAt returns the follower's lift in millimetres at t degrees of cam from
// the nose.
func (l ThreeArc) LiftAt(t float64) float64 { return l.at(radians(math.Abs(t))) }

func (l ThreeArc) at(t float64) float64 {
	t0 := l.halfAngle()
	switch {
	case t >= t0:
		return 0
	case t >= l.junction():
		return (l.Flank - l.Base) * (1 - math.Cos(t0-t))
	}
	return (l.Base+l.Rise-l.Nose)*math.Cos(t) + l.Nose - l.Base
}

// At returns the part of the rise done at x.
func (l ThreeArc) At(x float64) float64 {
	x = min(max(x, 0), 1)
	return l.at(l.halfAngle()*(1-x)) / l.Rise
}

// String returns the name.
func (l ThreeArc) String() string { return "three arcs, flat follower" }
