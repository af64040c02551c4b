package clearance

import (
	"errors"
	"fmt"
	"math"

	"lobescribe/capture/timing"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Motion. With the engine turning at w radians of crank a second a valve whose lift
// is y(theta) is accelerated by y'' w^2, y'' by radian of crank. Where y'' is below
// zero it is the spring alone that keeps the valve on its lobe, with
//
//	margin = F(y) - m |y''| w^2,
//
// F the spring's load at that lift and m what moves with the valve: valve, retainer,
// locks, a third of the spring (Rayleigh; derived here for a spring whose coils move
// in proportion), and the rocker as it weighs there. The margin is used up first
// where F/(m |y''|) is least.
//
// A spring between two plates swings by itself at f = 1/2 sqrt(k/M), M the mass of
// its active coils (Shigley, Mechanical Engineering Design, ch. 10, from memory; held
// in the tests against a chain of masses). The h-th harmonic of the lift over its
// cycle, 720 degrees of crank, meets that at 120 f/h revolutions a minute.
//
// It is planar and rigid: no train bends, no lifter pumps, no coils clash.

// MotionQuestion asks what the spring does to the valve in motion.
type MotionQuestion struct {
	// Curve is lift at the valve against crank degrees.
	Curve []timing.Point `json:"curve,omitempty" flag:"curve" form:"FILE" help:"CSV file of the valve's lift against crank angle: asks for the spring's margin in motion"`
	// Resolution is the step to which the lifts were rounded.
	Resolution measure.Length `json:"resolution_mm,omitzero" flag:"resolution" help:"step to which those lifts were rounded"`
	// Mass is what moves with the valve, in grams, without the spring; Rocker is the
	// rocker's share as it weighs at the valve: its moment of inertia over the square
	// of its valve arm.
	Mass   float64 `json:"mass_g,omitzero" flag:"mass" help:"valve, retainer and locks, in grams"`
	Rocker float64 `json:"rocker_mass_g,omitzero" flag:"rocker-mass" help:"the rocker as it weighs at the valve, in grams: moment of inertia over the valve arm's square"`
	// Spring is the spring's mass in grams; left out, it comes from wire and coils.
	Spring float64 `json:"spring_mass_g,omitzero" flag:"spring-mass" help:"the spring, in grams (default: from wire and coils)"`
	// Speed of the crank in revolutions a minute.
	Speed float64 `json:"speed_rpm,omitzero" flag:"speed" help:"crank speed in revolutions a minute at which the margin is asked for"`
	// Inner springs, wound into the first, by their rate and load on the seat.
	InnerRate Rate  `json:"inner_rate_n_per_mm,omitzero"`
	InnerSeat Force `json:"inner_seat_load_n,omitzero"`
}

// MotionAnswer is what the spring has in hand.
type MotionAnswer struct {
	// Mass counts, in grams.
	Mass  float64 `json:"moving_mass_g"`
	MassU float64 `json:"moving_mass_u_g"`
	// UsedUp is the crank speed at which the margin is nought, at the angle At.
	UsedUp  float64        `json:"used_up_rpm"`
	UsedUpU float64        `json:"used_up_u_rpm"`
	At      measure.Angle  `json:"used_up_at_deg"`
	AtLift  measure.Length `json:"used_up_at_mm"`
	// Least margin at the speed asked for, with its verdict: more than nought.
	Margin  *Force           `json:"margin_n,omitempty"`
	MarginU *Force           `json:"margin_u_n,omitempty"`
	Verdict *verdict.Verdict `json:"verdict,omitempty"`
	// Frequency is the spring's own, where its mass is known; Meets the speeds at
	// which harmonics of this lift come to it.
	Frequency  *float64   `json:"own_hz,omitempty"`
	FrequencyU *float64   `json:"own_u_hz,omitempty"`
	Meets      []Harmonic `json:"harmonics,omitempty"`
}

// Harmonic is one of the lift's, in a cycle of 720 degrees.
type Harmonic struct {
	Order int `json:"order"`
	// Amplitude of it in the lift.
	Amplitude measure.Length `json:"amplitude_mm"`
	Speed     float64        `json:"speed_rpm"`
}

// Uncertainties, k = 2 (common practice, no source): parts on a kitchen scale, what
// a rocker weighs at the valve by estimate, a spring by its wire's length.
const (
	massU                     = 0.03
	rockerMassU               = 0.20
	springMassU               = 0.05
	steel                     = 7.85e-3 // g/mm3, of spring wire; from memory
	wideWindow                = 24 * measure.Degree
	activeShare, activeShareU = 0.69, 0.09 // of a spring's mass, where its coils were not told: 3/5 to 7/9
	noRocker                  = 0.25       // of the other masses: what a rocker may add that nobody weighed
)

func (q *MotionQuestion) check(c *worksheet.Check) {
	c.That(len(q.Curve) >= 8, "motion.curve", "holds %d points: give the valve's lift against crank angle, at least 8 points and better one a degree", len(q.Curve))
	c.Within("motion.mass_g", q.Mass, 1, 5000)
	c.Within("motion.rocker_mass_g", q.Rocker, 0, 5000)
	c.Within("motion.spring_mass_g", q.Spring, 0, 5000)
	c.Within("motion.speed_rpm", q.Speed, 0, 30_000)
	c.Within("motion.inner_rate_n_per_mm", float64(q.InnerRate), 0, 1000)
	c.Within("motion.inner_seat_load_n", float64(q.InnerSeat), 0, 100_000)
	c.That((q.InnerRate == 0) == (q.InnerSeat == 0), "motion.inner_seat_load_n", "goes with inner_rate_n_per_mm: give both or neither")
	c.NotNegative("motion.resolution_mm", q.Resolution)
}

// motion fills in what the spring has in hand.
func (a *SpringAnswer) motion(q SpringQuestion) error {
	m := q.Motion
	if m == nil {
		return nil
	}
	if a.SeatLoad == nil {
		return worksheet.Wrongf("installed_height_mm", "is missing: the margin in motion needs the load on the seat (seat_load_n, or the free length and the installed height)")
	}
	curve, err := timing.FromPoints(m.Curve, timing.Options{Resolution: m.Resolution})
	if err != nil {
		return ofCurve(err)
	}
	// The narrowest of windows would follow the noise, and the least of many noisy
	// margins is too little: two wide ones are taken, and what they say otherwise is
	// in the U.
	d, err := curve.Derivatives(timing.DeriveOptions{HalfWindow: wideWindow, Order: 6})
	if err != nil {
		return ofCurve(err)
	}
	narrow, err := curve.Derivatives(timing.DeriveOptions{HalfWindow: wideWindow * 2 / 3, Order: 6})
	if err != nil {
		return ofCurve(err)
	}
	top := curve.Nose().MaxLift
	spring := m.Spring
	if spring == 0 && q.dimensions() {
		idle, _, _ := coilsOf(q.Ends)
		spring = a.coils(q, idle)
		a.Assume("the spring weighs %.0f g by its wire and coils", spring)
	}
	out := MotionAnswer{Mass: m.Mass + m.Rocker + spring/3}
	rockerU := rockerMassU * m.Rocker
	if m.Rocker == 0 {
		// Half of what a rocker may add goes in, and as much either way.
		add := noRocker * out.Mass / 2
		out.Mass, rockerU = out.Mass+add, add
		a.Assume("what a rocker and pushrod add at the valve was not told: %.0f ± %.0f g are taken (rocker_mass_g; common practice, no source)", add, add)
	}
	out.MassU = worksheet.Combine(massU*m.Mass, rockerU, springMassU*spring/3)
	best := math.Inf(1)
	perRadian := math.Pow(180/math.Pi, 2) / 1000 // mm/deg2 to m/rad2
	least := math.Inf(1)
	w := m.Speed * math.Pi / 30
	for i, p := range d.Points {
		if !(p.Acceleration < 0) || p.Lift < top/10 { // below, the lobe pushes
			continue
		}
		p.AccelerationU = math.Hypot(p.AccelerationU, p.Acceleration-narrow.Points[i].Acceleration)
		lift := p.Lift.Millimetres()
		load, loadU := a.at(q, lift)
		need := out.Mass / 1000 * -p.Acceleration * perRadian // N s2/rad2
		share := math.Hypot(out.MassU/out.Mass, p.AccelerationU/-p.Acceleration)
		if load/need < best && p.AccelerationU < -p.Acceleration {
			best = load / need
			out.UsedUp = math.Sqrt(best) * 30 / math.Pi
			out.UsedUpU = out.UsedUp / 2 * math.Hypot(share, loadU/load)
			out.At, out.AtLift = p.Angle, p.Lift
		}
		if margin := load - need*w*w; m.Speed > 0 && margin < least {
			least = margin
			f, u := Force(margin), Force(math.Hypot(loadU, need*w*w*share))
			out.Margin, out.MarginU = &f, &u
		}
	}
	if math.IsInf(best, 1) {
		return fmt.Errorf("the curve is too coarse to tell its acceleration: give a point a degree, and the step they were rounded to")
	}
	if out.Margin != nil {
		v := verdict.Judge(verdict.Figure[float64]{Value: float64(*out.Margin), U: float64(*out.MarginU)}, verdict.AtLeast(0.0))
		out.Verdict = &v
	}
	a.own(q, &out, spring, curve)
	a.Motion = &out
	a.Says = append(a.Says,
		worksheet.Sayf("the spring's margin over inertia is used up at %.0f ± %.0f revolutions a minute of the crank, at %v of lift; stay well below: the train bends and springs surge before that", out.UsedUp, out.UsedUpU, worksheet.Rounded(out.AtLift)),
		worksheet.Sayf("planar and rigid parts, no dynamics of the train; %s", theMaker))
	a.Assume("a third of the spring moves with the valve")
	a.Cite("inertia: Newton's second law over the measured lift; a third of the spring: Rayleigh's method, from memory")
	a.Cite("derivatives: Savitzky and Golay, Analytical Chemistry 36 (1964), 1627-1639")
	return nil
}

// ofCurve says that a problem is the curve's.
func ofCurve(err error) error {
	if p := (*worksheet.Problem)(nil); errors.As(err, &p) {
		return worksheet.Wrongf("motion.curve", "%s", p.Says)
	}
	return fmt.Errorf("motion.curve: %w", err)
}

// coils is the mass of a spring of so many coils in grams, idle ones counted.
func (a *SpringAnswer) coils(q SpringQuestion, idle float64) float64 {
	d, mean := q.Wire.Millimetres(), q.mean().Millimetres()
	return steel * math.Pi * d * d / 4 * math.Pi * mean * (q.active() + idle)
}

// at is the springs' load at a lift, with its expanded uncertainty.
func (a *SpringAnswer) at(q SpringQuestion, lift float64) (load, u float64) {
	seat := float64(*a.SeatLoad)
	load, u = seat+float64(a.Rate)*lift, a.openLoadU(q, float64(*a.SeatLoadU), lift)
	if m := q.Motion; m.InnerSeat != 0 {
		inner := float64(m.InnerSeat) + float64(m.InnerRate)*lift
		load, u = load+inner, math.Hypot(u, 2*loadU*inner)
	}
	return load, u
}

// own works out the spring's own frequency and which harmonics of the lift meet it.
func (a *SpringAnswer) own(q SpringQuestion, out *MotionAnswer, spring float64, curve *timing.Curve) {
	if spring == 0 {
		a.Says = append(a.Says, worksheet.Sayf("the spring's own frequency needs its mass: weigh it (spring_mass_g), or give wire and coils"))
		return
	}
	var share float64 // of the mass, that is in active coils
	if q.dimensions() {
		idle, _, _ := coilsOf(q.Ends)
		share = q.active() / (q.active() + idle)
	} else {
		share = activeShare
		a.Assume("%.2f of the spring's mass is in active coils, as with 5 to 9 coils of which the ends take two", activeShare)
	}
	f := math.Sqrt(float64(a.Rate)*1000/(spring*share/1000)) / 2
	u := f / 2 * worksheet.Combine(float64(a.RateU/a.Rate), springMassU)
	if !q.dimensions() {
		u = math.Hypot(u, f/2*activeShareU/activeShare)
	}
	out.Frequency, out.FrequencyU = &f, &u
	first, last := curve.Ends()
	const steps = 2880 // a quarter of a degree
	for h := 1; h <= 24; h++ {
		var re, im float64
		for i := range steps {
			x := float64(i)/4 + first.Degrees()
			if x > last.Degrees() {
				break
			}
			y := max(0, curve.At(measure.FromDegrees(x)).Millimetres())
			s, c := math.Sincos(2 * math.Pi * float64(h) * x / 720)
			re, im = re+y*c, im+y*s
		}
		amplitude := 2 * math.Hypot(re, im) / steps
		if speed := 120 * f / float64(h); speed <= 12_000 && amplitude >= 0.001 {
			out.Meets = append(out.Meets, Harmonic{Order: h, Amplitude: measure.FromMillimetres(amplitude), Speed: speed})
		}
	}
	a.Cite("a spring's own frequency between plates, 1/2 sqrt(k/M): Shigley, ch. 10, from memory")
}
