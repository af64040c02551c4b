package clearance

import (
	"errors"
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Force is in newtons, in JSON too (_n).
type Force float64

// newtonsAPound is exact: the pound of 0.45359237 kg in standard gravity of
// 9.80665 m/s2.
const newtonsAPound = 4.4482216152605

// FromPounds returns a force given in lbf.
func FromPounds(lbf float64) Force { return Force(lbf * newtonsAPound) }

func newtons(f Force) worksheet.Physical { return worksheet.Newtons(float64(f)) }

// Pounds returns the force in lbf.
func (f Force) Pounds() float64 { return float64(f) / newtonsAPound }

// Rate is a spring's, in newtons a millimetre.
type Rate float64

// PoundsAnInch returns the rate in lbf/in.
func (r Rate) PoundsAnInch() float64 { return Force(r).Pounds() * 25.4 }

// The kinds of ends a coil spring can have.
const (
	Plain        = "plain"
	PlainGround  = "plain ground"
	Closed       = "closed" // squared
	ClosedGround = "closed ground"
)

// Load is one measured load.
type Load struct {
	Height measure.Length `json:"height_mm" bound:"spring"`
	Load   Force          `json:"load_n" bound:"load"`
}

// SpringQuestion asks for rate and loads, from the coil's dimensions, from
// measured loads, or from both.
type SpringQuestion struct {
	Wire measure.Length `json:"wire_mm,omitzero" bound:"wire" flag:"wire" help:"diameter of the wire"`
	// MeanDiameter is between the wire's middles; OuterDiameter may stand for
	// it.
	MeanDiameter  measure.Length `json:"mean_diameter_mm,omitzero" bound:"coil" flag:"mean-diameter" help:"diameter of the coil, between the wire's middles"`
	OuterDiameter measure.Length `json:"outer_diameter_mm,omitzero" bound:"coil" flag:"outer-diameter" help:"diameter over the coil, in place of that"`
	// ActiveCoils, or TotalCoils of which the ends take their part.
	ActiveCoils float64 `json:"active_coils,omitzero" bound:"coils" flag:"active" help:"active coils"`
	TotalCoils  float64 `json:"total_coils,omitzero" bound:"coils" flag:"total" help:"all coils, in place of that"`
	// Ends is ClosedGround by default.
	Ends string `json:"ends,omitzero" flag:"ends" help:"plain, \"plain ground\", closed or \"closed ground\" (default)"`
	// Modulus is the shear modulus. Default 79300 MPa (11.5e6 psi), that of
	// most valve spring wire.
	Modulus float64 `json:"shear_modulus_mpa,omitzero" bound:"modulus" flag:"modulus" help:"shear modulus in MPa (default 79300)"`
	// Loads are what a spring tester showed.
	Loads []Load `json:"loads,omitempty" flag:"load" form:"HEIGHT:LOAD" help:"a measured load, as in \"1.800 in: 120 lbf\"; twice or more"`
	// Free is the length without load; left out, it comes from Loads or
	// SeatLoad.
	Free      measure.Length `json:"free_length_mm,omitzero" bound:"spring" flag:"free" help:"length without load"`
	SeatLoad  Force          `json:"seat_load_n,omitzero" bound:"load" flag:"seat-load" form:"FORCE" help:"load at the installed height, as in \"350 N\" or \"80 lbf\""`
	Installed measure.Length `json:"installed_height_mm,omitzero" bound:"spring" flag:"installed" help:"installed height"`
	Lift      measure.Length `json:"lift_mm,omitzero" bound:"lift" flag:"lift" help:"full lift at the valve"`
	// Solid was measured; left out, it comes from wire and coils.
	Solid measure.Length `json:"solid_height_mm,omitzero" bound:"spring" flag:"solid" help:"solid height, if measured"`
	// Limit is what is to be left to coil bind.
	Limit *measure.Length `json:"coil_bind_limit_mm,omitempty" bound:"limit" flag:"limit" help:"what is to be left to coil bind"`
	// Progressive says that its rate grows as it gets shorter: Loads are then four or
	// more, from the installed height to full lift.
	Progressive bool `json:"progressive,omitzero" flag:"progressive" help:"yes: its rate grows as it gets shorter; four loads or more, from the installed height to full lift"`
	// Inner is a spring wound into this one.
	Inner *InnerQuestion `json:"inner,omitempty"`
	// Motion asks what the spring does to a valve in motion.
	Motion *MotionQuestion `json:"motion,omitempty"`
}

// SpringAnswer is what the spring does. What could not be worked out from the
// question is absent.
type SpringAnswer struct {
	// Rate is that of the measured loads if there are any, else that of the
	// dimensions; From says which.
	Rate  Rate   `json:"rate_n_per_mm"`
	RateU Rate   `json:"rate_u_n_per_mm"`
	From  string `json:"rate_from"` // "loads" or "dimensions"
	// DimensionsRate is kept beside the measured one.
	DimensionsRate *Rate `json:"dimensions_rate_n_per_mm,omitempty"`
	// Index is C = D/d, ActiveCoils what the rate was worked out with.
	Index       *float64        `json:"index,omitempty"`
	ActiveCoils *float64        `json:"active_coils,omitempty"`
	Solid       *measure.Length `json:"solid_height_mm,omitempty"`
	Free        *measure.Length `json:"free_length_mm,omitempty"`
	SeatLoad    *Force          `json:"seat_load_n,omitempty"`
	SeatLoadU   *Force          `json:"seat_load_u_n,omitempty"`
	OpenLoad    *Force          `json:"open_load_n,omitempty"`
	OpenLoadU   *Force          `json:"open_load_u_n,omitempty"`
	// OpenStress is the shear stress at full lift, KB counted.
	OpenStress  *float64             `json:"open_stress_mpa,omitempty"`
	KB          *float64             `json:"kb,omitempty"`
	CoilBind    *Gap                 `json:"coil_bind,omitempty"`
	Progressive *Progressive         `json:"progressive,omitempty"`
	Inner       *InnerAnswer         `json:"inner,omitempty"`
	Motion      *MotionAnswer        `json:"motion,omitempty"`
	Says        []worksheet.Sentence `json:"says"`
	worksheet.Basis
}

var errNoEnds = errors.New("no such ends")

// coilsOf says what a kind of ends takes: active = total - idle, solid = wire x
// (total + more). Shigley, Table 10-1, from memory.
func coilsOf(ends string) (idle, more float64, err error) {
	switch ends {
	case Plain:
		return 0, 1, nil
	case PlainGround:
		return 1, 0, nil
	case Closed:
		return 2, 1, nil
	case "", ClosedGround:
		return 2, 0, nil
	}
	return 0, 0, errNoEnds
}

// Uncertainties of what was measured (k = 2). Common practice, no source: a
// micrometer on wire, a caliper on the coil, a quarter of a coil by eye, what
// wires differ by, a shop's spring tester.
const (
	wireU     = 0.02 // mm
	diameterU = 0.1  // mm
	coilsU    = 0.25
	modulusU  = 0.02 // of itself
	loadU     = 0.03 // of itself
	heightU   = 0.2  // mm
	groundU   = 0.25 // of a wire: how much of both ends was ground off

	defaultModulus = 79_300.0 // MPa
	mostStress     = 2000.0   // MPa: the best wire breaks at about as much in tension (from memory)
)

func (q SpringQuestion) dimensions() bool { return q.Wire != 0 }

func (q SpringQuestion) check() error {
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return c.Err()
	}
	c.That(q.dimensions() || len(q.Loads) >= 2, "wire_mm", "is missing: give wire_mm, mean_diameter_mm and active_coils, or two loads")
	_, _, err := coilsOf(q.Ends)
	c.That(err == nil, "ends", "is %q: expected %q, %q, %q or %q", q.Ends, Plain, PlainGround, Closed, ClosedGround)
	for _, l := range []struct {
		field string
		l     measure.Length
	}{
		{"wire_mm", q.Wire}, {"mean_diameter_mm", q.MeanDiameter}, {"outer_diameter_mm", q.OuterDiameter},
		{"free_length_mm", q.Free}, {"installed_height_mm", q.Installed}, {"lift_mm", q.Lift}, {"solid_height_mm", q.Solid},
	} {
		c.NotNegative(l.field, l.l)
	}
	if q.dimensions() {
		c.That(q.Wire >= 100*measure.Micrometre && q.Wire <= 50*measure.Millimetre, "wire_mm", "is %v: expected 0.1 to 50 mm", q.Wire)
		c.That((q.MeanDiameter != 0) != (q.OuterDiameter != 0), "mean_diameter_mm", "give mean_diameter_mm or outer_diameter_mm, one of the two")
		c.That((q.ActiveCoils != 0) != (q.TotalCoils != 0), "active_coils", "give active_coils or total_coils, one of the two")
		index := float64(q.mean()) / float64(q.Wire)
		c.That(index >= 2 && index <= 50, "mean_diameter_mm", "is %v, %.3g times the wire: a coil spring has 2 to 50", q.mean(), index)
		c.Within("active_coils", q.active(), 0.5, 500)
	}
	if q.Modulus != 0 {
		c.Within("shear_modulus_mpa", q.Modulus, 1_000, 500_000)
	}
	c.Within("seat_load_n", float64(q.SeatLoad), 0, 100_000)
	c.That(len(q.Loads) <= mostCases, "loads", "has %d loads: no more than %d", len(q.Loads), mostCases)
	for i, l := range q.Loads {
		c.Positive(fmt.Sprintf("loads[%d].height_mm", i), l.Height)
		c.Within(fmt.Sprintf("loads[%d].load_n", i), float64(l.Load), 0, 100_000)
	}
	checkOptional(&c, "coil_bind_limit_mm", q.Limit)
	q.goTogether(&c)
	if q.Inner != nil {
		q.Inner.check(&c, q.Installed)
	}
	if q.Motion != nil {
		q.Motion.check(&c)
		c.That(q.Inner == nil || q.Motion.InnerRate == 0, "motion.inner_rate_n_per_mm", "is given beside inner, which says the same: leave one of the two out")
	}
	return c.Err()
}

// goTogether checks the lengths of one spring against each other: a lift beyond its
// height, or a height beyond its free length, would still give loads, of no spring.
func (q SpringQuestion) goTogether(c *worksheet.Check) {
	both := worksheet.InBoth
	const look = "check both, and that both are in the unit they were measured in"
	c.That(q.Lift == 0 || q.Installed == 0 || q.Lift < q.Installed, "lift_mm", "is %s, and the spring's installed height only %v: %s", both(q.Lift), both(q.Installed), look)
	solid := q.Solid
	if solid == 0 && q.dimensions() {
		idle, more, _ := coilsOf(q.Ends)
		solid = measure.FromMillimetres(q.Wire.Millimetres() * (q.active() + idle + more))
	}
	for _, l := range []struct {
		field, what string
		l           measure.Length
	}{{"free_length_mm", "free length", q.Free}, {"installed_height_mm", "installed height", q.Installed}} {
		c.That(l.l == 0 || solid < l.l, l.field, "is %s, and the spring is %v high when its coils touch: %s", both(l.l), both(worksheet.Rounded(solid)), look)
	}
	c.That(q.Free == 0 || q.Installed <= q.Free, "installed_height_mm", "is %s, above the free length of %v, where the spring is loose on its seat: %s", both(q.Installed), both(q.Free), look)
	for i, l := range q.Loads {
		field := fmt.Sprintf("loads[%d].height_mm", i)
		c.That(q.Free == 0 || l.Height <= q.Free, field, "is %s, above the free length of %v, where no load is: %s", both(l.Height), both(q.Free), look)
		c.That(q.Solid == 0 || l.Height >= q.Solid-measure.FromMillimetres(heightU), field, "is %v, below the solid height of %v: %s", both(l.Height), both(q.Solid), look)
	}
}

func (q SpringQuestion) mean() measure.Length {
	if q.MeanDiameter != 0 {
		return q.MeanDiameter
	}
	return q.OuterDiameter - q.Wire
}

func (q SpringQuestion) active() float64 {
	if q.ActiveCoils != 0 {
		return q.ActiveCoils
	}
	idle, _, _ := coilsOf(q.Ends)
	return q.TotalCoils - idle
}

// SolveSpring answers a question. The error is a [*worksheet.Problem] for a
// field that cannot be, another for a spring that cannot be.
func SolveSpring(q SpringQuestion) (SpringAnswer, error) {
	a := SpringAnswer{Says: []worksheet.Sentence{}}
	if err := q.check(); err != nil {
		return a, err
	}
	if q.dimensions() {
		a.fromDimensions(q)
	}
	if len(q.Loads) >= 2 {
		if err := a.fromLoads(q); err != nil {
			return a, err
		}
	}
	if err := a.progress(q); err != nil {
		return a, err
	}
	if err := a.valveSpring(); err != nil {
		return a, err
	}
	if q.Solid != 0 {
		a.Solid = new(q.Solid)
	}
	if err := a.bind(q); err != nil {
		return a, err
	}
	if err := a.loads(q); err != nil {
		return a, err
	}
	if err := a.nest(q); err != nil {
		return a, err
	}
	if err := a.motion(q); err != nil {
		return a, err
	}
	if a.Progressive == nil {
		a.Assume("the spring is straight: its load grows evenly with its travel")
	}
	a.Assume("%s", theMaker)
	a.Cite("uncertainty: JCGM 100:2008, 5.1.2 and 6.2.1 (k = 2)")
	return a, nil
}

// valveSpring refuses rates that no valve spring has.
func (a *SpringAnswer) valveSpring() error {
	most := Rate(worksheet.Bounds()["rate"].Most)
	rates := []Rate{a.Rate}
	if a.Progressive != nil {
		rates = append(rates, a.Progressive.Open)
	}
	for _, r := range rates {
		switch {
		case r <= most:
		case a.From == "loads":
			return worksheet.Wrongf("loads", "make a rate of %.0f N/mm, and no valve spring has more than %.0f: check loads and heights, and their units", float64(r), float64(most))
		default:
			return worksheet.Wrongf("wire_mm", "makes a rate of %.0f N/mm with this coil, and no valve spring has more than %.0f: check wire, coil and coils, and their units", float64(r), float64(most))
		}
	}
	return nil
}

func (a *SpringAnswer) fromDimensions(q SpringQuestion) {
	d, mean, active := q.Wire.Millimetres(), q.mean().Millimetres(), q.active()
	modulus := q.Modulus
	if modulus == 0 {
		modulus = defaultModulus
		a.Assume("shear modulus %g MPa (11.5e6 psi), right to %.0f %%", modulus, 100*modulusU)
	}
	rate := modulus * math.Pow(d, 4) / (8 * math.Pow(mean, 3) * active)
	u := rate * worksheet.Combine(4*wireU/d, 3*diameterU/mean, coilsU/active, modulusU)
	a.Rate, a.RateU, a.From = Rate(rate), Rate(u), "dimensions"
	a.DimensionsRate = new(Rate(rate))
	c := mean / d
	a.Index, a.ActiveCoils = &c, &active
	a.KB = new((4*c + 2) / (4*c - 3))
	idle, more, _ := coilsOf(q.Ends)
	a.Solid = new(measure.FromMillimetres(d * (active + idle + more)))
	if q.Ends == "" {
		a.Assume("ends closed and ground")
	}
	a.Assume("wire to %v, coil to %v, coils to %g", measure.FromMillimetres(wireU), measure.FromMillimetres(diameterU), coilsU)
	a.Cite("k = G d^4 / (8 D^3 Na), solid height and active coils by ends: Shigley, Mechanical Engineering Design, ch. 10 and Table 10-1, from memory")
}

// fromLoads takes the rate from the line through the measured loads, which
// goes before what dimensions say: it counts what the coils really do.
func (a *SpringAnswer) fromLoads(q SpringQuestion) error {
	n := float64(len(q.Loads))
	var height, load float64
	for _, l := range q.Loads {
		height += l.Height.Millimetres() / n
		load += float64(l.Load) / n
	}
	var hh, hl, u float64
	for _, l := range q.Loads {
		d := l.Height.Millimetres() - height
		hh += d * d
		hl += d * (float64(l.Load) - load)
	}
	if hh < 0.25 {
		return worksheet.Wrongf("loads", "were taken at heights too near each other for a rate: take them a lift apart")
	}
	rate := -hl / hh
	if rate <= 0 {
		return worksheet.Wrongf("loads", "do not grow as the spring gets shorter: check heights and loads")
	}
	for _, l := range q.Loads { // each load moves the slope by its lever
		d := (l.Height.Millimetres() - height) / hh
		u += d * d * (math.Pow(loadU*float64(l.Load), 2) + math.Pow(rate*heightU, 2))
	}
	a.Rate, a.RateU, a.From = Rate(rate), Rate(math.Sqrt(u)), "loads"
	a.Free = new(measure.FromMillimetres(min(height+load/rate, worksheet.Longest.Millimetres())))
	a.Assume("a spring tester is right to %.0f %% and its height to %v", 100*loadU, measure.FromMillimetres(heightU))
	// Loads that bend upwards by more than a tester is out are a progressive spring's.
	if len(q.Loads) >= 3 && !q.Progressive {
		for _, l := range q.Loads {
			line := load + rate*(height-l.Height.Millimetres())
			if off := math.Abs(float64(l.Load) - line); off > 1.5*math.Hypot(loadU*float64(l.Load), rate*heightU) {
				a.Says = append(a.Says, worksheet.Sayf("the load at %v lies %v off the line through all: measure it again, or say that the spring is progressive (progressive)", l.Height, worksheet.Newtons(off)))
				break
			}
		}
	}
	if a.DimensionsRate != nil {
		if off := float64(a.Rate / *a.DimensionsRate); math.Abs(off-1) > 0.15 {
			a.Says = append(a.Says, worksheet.Sayf("the loads make a rate %.2f times what the dimensions do: count the coils again, or the tester is out", off))
		}
	}
	return nil
}

// loads fills in the load on the seat and at full lift.
func (a *SpringAnswer) loads(q SpringQuestion) error {
	if q.Free != 0 {
		a.Free = new(q.Free)
	}
	var seat, seatU float64
	switch {
	case a.Progressive != nil:
		at := a.Progressive.at(q.Installed.Millimetres())
		seat, seatU = at.value, at.u
	case q.SeatLoad != 0:
		seat, seatU = float64(q.SeatLoad), loadU*float64(q.SeatLoad)
	case a.Free != nil && q.Installed != 0:
		travel := (*a.Free - q.Installed).Millimetres()
		seat = float64(a.Rate) * travel
		seatU = worksheet.Combine(float64(a.RateU)*travel, float64(a.Rate)*heightU*math.Sqrt2)
		if a.From == "loads" && q.Free == 0 { // the height was read off the same line
			seatU = a.openLoadU(q, 0, 0)
		}
	default:
		return nil
	}
	if seat < 0 {
		return worksheet.Wrongf("installed_height_mm", "is %s, above the free length of %v that the loads make, where the spring is loose on its seat: check it, and the heights of the loads", worksheet.InBoth(q.Installed), worksheet.InBoth(worksheet.Rounded(*a.Free)))
	}
	a.SeatLoad, a.SeatLoadU = new(Force(seat)), new(Force(seatU))
	if q.Lift == 0 {
		return nil
	}
	if a.CoilBind != nil && a.CoilBind.Left < -a.CoilBind.LeftU {
		a.Says = append(a.Says, worksheet.Sayf("the coils touch before full lift: no load or stress at full lift is told"))
		return nil
	}
	lift := q.Lift.Millimetres()
	open := seat + float64(a.Rate)*lift
	if a.Progressive != nil {
		open = a.Progressive.at(q.Installed.Millimetres() - lift).value
	}
	a.OpenLoad = new(Force(open))
	a.OpenLoadU = new(Force(a.openLoadU(q, seatU, lift)))
	if a.KB != nil {
		d, mean := q.Wire.Millimetres(), q.mean().Millimetres()
		stress := 8 * open * mean * *a.KB / (math.Pi * math.Pow(d, 3))
		if stress > mostStress {
			return worksheet.Wrongf("wire_mm", "with these coils and lengths bears %.0f MPa of shear at full lift, and no wire bears %.0f: check wire, coil, coils and lengths, and their units", stress, mostStress)
		}
		a.OpenStress = &stress
		a.Cite("shear stress 8 F D KB / (pi d^3), KB = (4C+2)/(4C-3): Shigley, ch. 10, from memory")
	}
	return nil
}

// openLoadU is the expanded uncertainty of the load at full lift. Where the load on
// the seat came from the rate as well, one error of the rate moves both, and the
// two do not add as independent causes do (JCGM 100:2008, 5.2).
func (a *SpringAnswer) openLoadU(q SpringQuestion, seatU, lift float64) float64 {
	rate, rateU := float64(a.Rate), float64(a.RateU)
	switch {
	case a.Progressive != nil:
		return a.Progressive.at(q.Installed.Millimetres() - lift).u
	case q.SeatLoad != 0:
		return worksheet.Combine(seatU, rateU*lift)
	case a.From == "loads" && q.Free == 0:
		// The load is read off the line through the measured ones: each moves it by
		// its weight there.
		n, height, hh, sum := float64(len(q.Loads)), 0.0, 0.0, 0.0
		for _, l := range q.Loads {
			height += l.Height.Millimetres() / n
		}
		for _, l := range q.Loads {
			hh += math.Pow(l.Height.Millimetres()-height, 2)
		}
		at := q.Installed.Millimetres() - lift - height
		for _, l := range q.Loads {
			w := 1/n + at*(l.Height.Millimetres()-height)/hh
			sum += w * w * (math.Pow(loadU*float64(l.Load), 2) + math.Pow(rate*heightU, 2))
		}
		return worksheet.Combine(math.Sqrt(sum), rate*heightU)
	}
	travel := (*a.Free - q.Installed).Millimetres()
	return worksheet.Combine(rateU*(travel+lift), rate*heightU*math.Sqrt2)
}

// bind tells what is left to coil bind.
func (a *SpringAnswer) bind(q SpringQuestion) error {
	if a.Solid == nil || q.Installed == 0 || q.Lift == 0 {
		return nil
	}
	ask := CoilBindQuestion{Installed: q.Installed, Lift: q.Lift, Solid: *a.Solid, Limit: q.Limit}
	if q.Solid == 0 {
		// Wire and coils carry their errors into the height, and so does how far the ends
		// were ground.
		d := q.Wire.Millimetres()
		ask.solidU = worksheet.Combine(a.Solid.Millimetres()/d*wireU, coilsU*d, groundU*d)
		a.Assume("solid height from wire and coils, to ± %v; a measured one is better", measure.FromMillimetres(math.Round(100*ask.solidU)/100))
	}
	gap, err := ask.solve()
	if err != nil {
		return err
	}
	a.CoilBind = &gap
	liftKnown(&a.Basis)
	return nil
}
