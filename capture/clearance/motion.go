package clearance

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

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
	Resolution measure.Length `json:"resolution_mm,omitzero" bound:"resolute" flag:"resolution" help:"step to which those lifts were rounded"`
	// Mass is what moves with the valve, in grams, without the spring; Rocker is the
	// rocker's share as it weighs at the valve: its moment of inertia over the square
	// of its valve arm.
	Mass   float64 `json:"mass_g,omitzero" bound:"mass" flag:"mass" help:"valve, retainer and locks, in grams"`
	Rocker float64 `json:"rocker_mass_g,omitzero" bound:"mass" flag:"rocker-mass" help:"the rocker as it weighs at the valve, in grams: moment of inertia over the valve arm's square"`
	// Spring is the spring's mass in grams; left out, it comes from wire and coils.
	Spring float64 `json:"spring_mass_g,omitzero" bound:"mass" flag:"spring-mass" help:"the spring, in grams (default: from wire and coils)"`
	// Speed of the crank in revolutions a minute.
	Speed float64 `json:"speed_rpm,omitzero" bound:"speed" flag:"speed" help:"crank speed in revolutions a minute at which the margin is asked for"`
	// Inner springs, wound into the first, by their rate and load on the seat.
	InnerRate Rate  `json:"inner_rate_n_per_mm,omitzero" bound:"rate"`
	InnerSeat Force `json:"inner_seat_load_n,omitzero" bound:"load"`
}

// MotionAnswer is what the spring has in hand.
type MotionAnswer struct {
	// Mass counts, in grams.
	Mass  float64 `json:"moving_mass_g"`
	MassU float64 `json:"moving_mass_u_g"`
	// UsedUp is the crank speed at which the margin is zero, at the angle At.
	UsedUp  float64        `json:"used_up_rpm"`
	UsedUpU float64        `json:"used_up_u_rpm"`
	At      measure.Angle  `json:"used_up_at_deg"`
	AtLift  measure.Length `json:"used_up_at_mm"`
	// Least margin at the speed asked for, with its verdict: more than zero.
	Margin  *Force           `json:"margin_n,omitempty"`
	MarginU *Force           `json:"margin_u_n,omitempty"`
	Verdict *verdict.Verdict `json:"verdict,omitempty"`
	// Frequency is the spring's own, where its mass is known; Meets the speeds at
	// which harmonics of this lift come to it.
	Frequency  *float64   `json:"own_hz,omitempty"`
	FrequencyU *float64   `json:"own_u_hz,omitempty"`
	Meets      []Harmonic `json:"harmonics,omitempty"`
	// OwnOpen is that of a progressive spring at full lift, whose coils that are closed
	// do not swing: it goes from Frequency to this and back in each opening. OwnInner
	// is that of an inner spring, InnerMeets its harmonics.
	OwnOpen    *float64   `json:"own_open_hz,omitempty"`
	OwnOpenU   *float64   `json:"own_open_u_hz,omitempty"`
	OwnInner   *float64   `json:"own_inner_hz,omitempty"`
	OwnInnerU  *float64   `json:"own_inner_u_hz,omitempty"`
	InnerMeets []Harmonic `json:"inner_harmonics,omitempty"`
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
	fastest                   = 3          // times the speed at which the margin is used up, for which there still is one worth telling
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
	// margins is too little: a wide one is taken, and what it flattens is in its band.
	d, err := curve.Derivatives(timing.DeriveOptions{HalfWindow: wideWindow, Order: 6})
	if err != nil {
		return ofCurve(err)
	}
	top := curve.Nose().MaxLift
	out, spring, inner := a.moving(q)
	best := math.Inf(1)
	perRadian := math.Pow(180/math.Pi, 2) / 1000 // mm/deg2 to m/rad2
	least := math.Inf(1)
	lowest, highest := math.Inf(1), math.Inf(1) // of the speed, wherever it is used up
	leastLow, leastHigh := math.Inf(1), math.Inf(1)
	w := m.Speed * math.Pi / 30
	for _, p := range d.Points {
		if !(p.Acceleration < 0) || p.Lift < top/10 { // below, the lobe pushes
			continue
		}
		lift := p.Lift.Millimetres()
		load, loadU := a.at(q, lift)
		need := out.Mass / 1000 * -p.Acceleration * perRadian // N s2/rad2
		share := math.Hypot(out.MassU/out.Mass, p.AccelerationU/-p.Acceleration)
		if p.AccelerationU < -p.Acceleration {
			speed := math.Sqrt(load/need) * 30 / math.Pi
			// The place is where noise was least kind: the least of many lies low by about
			// one standard deviation, half of U.
			chance := p.AccelerationU / 2 / -p.Acceleration
			u := speed / 2 * worksheet.Combine(share, chance, loadU/load)
			if load/need < best {
				best = load / need
				out.UsedUp, out.UsedUpU, out.At, out.AtLift = speed, u, p.Angle, p.Lift
			}
			lowest, highest = min(lowest, speed-u), min(highest, speed+u)
		}
		if margin := load - need*w*w; m.Speed > 0 {
			u := math.Hypot(loadU, need*w*w*share)
			if margin < least {
				least = margin
				out.Margin, out.MarginU = new(Force(margin)), new(Force(u))
			}
			leastLow, leastHigh = min(leastLow, margin-u), min(leastHigh, margin+u)
		}
	}
	if math.IsInf(best, 1) {
		return worksheet.Wrongf("motion.curve", "is too coarse to tell its acceleration: give a point a degree, and the step they were rounded to")
	}
	if m.Speed > fastest*out.UsedUp {
		return worksheet.Wrongf("motion.speed_rpm", "is %.0f, more than %d times the %.0f at which the margin is used up: check the speed, that it is the crank's, and the masses", m.Speed, fastest, out.UsedUp)
	}
	// Where another place is nearly as bad and less well known, it is used up there as
	// likely: the least of all lies between the least of what each may be, either way.
	out.UsedUpU = max(out.UsedUpU, out.UsedUp-lowest, highest-out.UsedUp)
	if out.Margin != nil {
		*out.MarginU = max(*out.MarginU, *out.Margin-Force(leastLow), Force(leastHigh)-*out.Margin)
		v := verdict.Judge(verdict.Figure[float64]{Value: float64(*out.Margin), U: float64(*out.MarginU)}, verdict.AtLeast(0.0))
		out.Verdict = &v
	}
	a.own(q, &out, spring, inner, curve)
	a.Motion = &out
	a.Says = append(a.Says,
		worksheet.Sayf("the spring's margin over inertia is used up at %.0f ± %.0f revolutions a minute of the crank, at %v of lift; stay well below: the train bends and springs surge before that", out.UsedUp, out.UsedUpU, worksheet.Rounded(out.AtLift)),
		worksheet.Sayf("planar and rigid parts, no dynamics of the train; %s", theMaker))
	a.Assume("a third of the spring moves with the valve")
	a.Cite("inertia: Newton's second law over the measured lift; a third of the spring: Rayleigh's method, from memory")
	a.Cite("derivatives: Savitzky and Golay, Analytical Chemistry 36 (1964), 1627-1639")
	return nil
}

// moving begins the answer with what moves, grams: its mass and its uncertainty; and
// returns the masses of the springs.
func (a *SpringAnswer) moving(q SpringQuestion) (out MotionAnswer, spring, inner float64) {
	m := q.Motion
	spring = m.Spring
	if spring == 0 && q.dimensions() {
		idle, _, _ := coilsOf(q.Ends)
		spring = a.coils(q, idle)
		a.Assume("the spring weighs %.0f g by its wire and coils", spring)
	}
	if q.Inner != nil {
		inner = q.Inner.Mass
		if inner == 0 {
			a.Says = append(a.Says, worksheet.Sayf("the inner spring's mass is not in what moves, and its own frequency is not told: weigh it (inner.mass_g)"))
		}
	}
	out = MotionAnswer{Mass: m.Mass + m.Rocker + (spring+inner)/3}
	rockerU := rockerMassU * m.Rocker
	if m.Rocker == 0 {
		// Half of what a rocker may add goes in, and as much either way, each as likely
		// (JCGM 100:2008, 4.3.7): a standard uncertainty of it over the root of 3.
		add := noRocker * out.Mass / 2
		out.Mass, rockerU = out.Mass+add, 2*add/math.Sqrt(3)
		a.Assume("what a rocker and pushrod add at the valve was not told: %.0f ± %.0f g are taken (rocker_mass_g; common practice, no source)", add, add)
	}
	out.MassU = worksheet.Combine(massU*m.Mass, rockerU, springMassU*spring/3, springMassU*inner/3)
	return out, spring, inner
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
	if a.Progressive != nil {
		load = a.Progressive.at(q.Installed.Millimetres() - lift).value
	}
	if in := a.Inner; in != nil {
		inner, innerU := in.alone.at(in.asked, lift)
		return load + inner, math.Hypot(u, innerU)
	}
	if m := q.Motion; m != nil && m.InnerSeat != 0 {
		inner := float64(m.InnerSeat) + float64(m.InnerRate)*lift
		load, u = load+inner, math.Hypot(u, 2*loadU*inner)
	}
	return load, u
}

// own works out the springs' own frequencies and which harmonics of the lift meet
// them.
func (a *SpringAnswer) own(q SpringQuestion, out *MotionAnswer, spring, inner float64, curve *timing.Curve) {
	amplitudes := harmonics(curve)
	if inner > 0 {
		in := a.Inner
		f, u := swing(float64(in.Rate), float64(in.RateU), inner, activeShare, activeShareU)
		out.OwnInner, out.OwnInnerU = &f, &u
		out.InnerMeets = meets(f, amplitudes)
		a.Says = append(a.Says, saysMeets("the inner spring's", f, out.InnerMeets))
	}
	if spring == 0 {
		a.Says = append(a.Says, worksheet.Sayf("the spring's own frequency needs its mass: weigh it (spring_mass_g), or give wire and coils"))
		return
	}
	share, shareU := activeShare, activeShareU // of the mass, that is in active coils
	if q.dimensions() {
		idle, _, _ := coilsOf(q.Ends)
		share, shareU = q.active()/(q.active()+idle), 0
	} else {
		a.Assume("%.2f of the spring's mass is in active coils, as with 5 to 9 coils of which the ends take two", activeShare)
	}
	rate, rateU := float64(a.Rate), float64(a.RateU)
	if p := a.Progressive; p != nil {
		rate, rateU = float64(p.Seat), float64(p.SeatU)
		// As many coils less swing as the rate has grown: both the rate and the mass
		// that is left are in inverse proportion to them.
		open, openU := float64(p.Open), float64(p.OpenU)
		grown := open / rate
		f, _ := swing(open, openU, spring, share/grown, shareU/grown)
		u := f * worksheet.Combine(openU/open, rateU/rate/2, springMassU/2, shareU/share/2)
		out.OwnOpen, out.OwnOpenU = &f, &u
		a.Assume("a progressive spring's coils that are closed do not swing: rate and swinging mass follow the coils that are left")
	}
	f, u := swing(rate, rateU, spring, share, shareU)
	out.Frequency, out.FrequencyU = &f, &u
	out.Meets = meets(f, amplitudes)
	a.Says = append(a.Says, saysMeets("the spring's", f, out.Meets))
	if out.OwnOpen != nil {
		a.Says = append(a.Says, worksheet.Sayf("at full lift it swings at %.0f ± %.0f Hz: over an opening no one speed meets it for long", *out.OwnOpen, *out.OwnOpenU))
	}
	a.Cite("a spring's own frequency between plates, 1/2 sqrt(k/M): Shigley, ch. 10, from memory")
}

// swing is a spring's own frequency between plates, with its U: rate in N/mm, mass in
// grams, of which a share swings.
func swing(rate, rateU, mass, share, shareU float64) (f, u float64) {
	f = math.Sqrt(rate*1000/(mass*share/1000)) / 2
	return f, f / 2 * worksheet.Combine(rateU/rate, springMassU, shareU/share)
}

// most harmonics that are looked at: of a cycle of 720 degrees.
const mostHarmonics = 24

// harmonics are the amplitudes of the lift's, in mm, from the first on.
func harmonics(curve *timing.Curve) (amplitudes [mostHarmonics + 1]float64) {
	first, last := curve.Ends()
	const steps = 2880 // a quarter of a degree
	for h := 1; h <= mostHarmonics; h++ {
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
		amplitudes[h] = 2 * math.Hypot(re, im) / steps
	}
	return amplitudes
}

// meets are the crank speeds up to 12,000 at which a harmonic of a micrometre or more
// comes to a frequency.
func meets(f float64, amplitudes [mostHarmonics + 1]float64) (list []Harmonic) {
	for h := 1; h <= mostHarmonics; h++ {
		if speed := 120 * f / float64(h); speed <= 12_000 && amplitudes[h] >= 0.001 {
			list = append(list, Harmonic{Order: h, Amplitude: measure.FromMillimetres(amplitudes[h]), Speed: speed})
		}
	}
	return list
}

// saysMeets names the four largest of the harmonics, by their speed.
func saysMeets(whose string, f float64, list []Harmonic) worksheet.Sentence {
	largest := slices.SortedFunc(slices.Values(list), func(a, b Harmonic) int { return cmp.Compare(b.Amplitude, a.Amplitude) })
	largest = largest[:min(4, len(largest))]
	slices.SortFunc(largest, func(a, b Harmonic) int { return cmp.Compare(a.Speed, b.Speed) })
	if len(largest) == 0 {
		return worksheet.Sayf("no harmonic of this lift that is worth a micrometre meets %s own %.0f Hz below 12,000 revolutions a minute", whose, f)
	}
	var parts []worksheet.Sentence
	for _, h := range largest {
		parts = append(parts, worksheet.Sayf("number %d (%v) at %.0f", h.Order, worksheet.Rounded(h.Amplitude), h.Speed))
	}
	return worksheet.Sayf("harmonics of this lift meet %s own %.0f Hz: %s revolutions a minute, of those up to 12,000 the largest", whose, f, worksheet.Join(parts, ", "))
}
