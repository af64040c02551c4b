package clearance

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Progressive is a spring whose rate grows as it gets shorter: its coils close one
// after the other. Its load is drawn through what a tester showed (a monotone cubic
// between neighbours), and one rate for all of it would be none.
type Progressive struct {
	// Rates where it sits on the closed valve and at full lift.
	Seat  Rate `json:"rate_seat_n_per_mm"`
	SeatU Rate `json:"rate_seat_u_n_per_mm"`
	Open  Rate `json:"rate_open_n_per_mm"`
	OpenU Rate `json:"rate_open_u_n_per_mm"`

	line       interp.FritschButland
	heights    []float64 // growing
	loads      []float64
	low, high  float64 // slopes at either end, N/mm of height
	seatHeight float64
}

// progress draws the load of a spring that was said to be progressive.
func (a *SpringAnswer) progress(q SpringQuestion) error {
	if !q.Progressive {
		return nil
	}
	if len(q.Loads) < 4 {
		return worksheet.Wrongf("loads", "holds %d loads: of a progressive spring at least 4 are needed, from the installed height to full lift", len(q.Loads))
	}
	if q.Installed == 0 || q.Lift == 0 {
		return worksheet.Wrongf("installed_height_mm", "is missing: what a progressive spring does hangs on its height; give lift_mm too")
	}
	if q.SeatLoad != 0 {
		return worksheet.Wrongf("seat_load_n", "is given beside the loads of a progressive spring: put it among them, with its height")
	}
	sorted := slices.SortedFunc(slices.Values(q.Loads), func(a, b Load) int { return int(min(max(a.Height-b.Height, -1), 1)) })
	p := Progressive{seatHeight: q.Installed.Millimetres()}
	for i, l := range sorted {
		if i > 0 && (l.Height-sorted[i-1].Height < 500*measure.Micrometre || l.Load >= sorted[i-1].Load) {
			return worksheet.Wrongf("loads", "%.0f N at %v does not lie below %.0f N at %v: heights half a millimetre apart or more, and a load that grows as the spring gets shorter",
				float64(l.Load), l.Height, float64(sorted[i-1].Load), sorted[i-1].Height)
		}
		p.heights, p.loads = append(p.heights, l.Height.Millimetres()), append(p.loads, float64(l.Load))
	}
	n := len(p.heights)
	open := p.seatHeight - q.Lift.Millimetres()
	for _, at := range []float64{p.seatHeight, open} {
		if at > p.heights[n-1]+1.5 || at < p.heights[0]-1.5 {
			return worksheet.Wrongf("loads", "reach from %v to %v: measure to within 1.5 mm of the installed height and of full lift, %v", sorted[0].Height, sorted[n-1].Height, measure.FromMillimetres(at))
		}
	}
	if err := p.line.Fit(p.heights, p.loads); err != nil {
		return fmt.Errorf("the loads make no curve: %w", err)
	}
	p.low, p.high = (p.loads[1]-p.loads[0])/(p.heights[1]-p.heights[0]), (p.loads[n-1]-p.loads[n-2])/(p.heights[n-1]-p.heights[n-2])
	seat, open_ := p.rate(p.seatHeight), p.rate(open)
	p.Seat, p.SeatU, p.Open, p.OpenU = Rate(seat.value), Rate(seat.u), Rate(open_.value), Rate(open_.u)
	a.Progressive = &p
	// The one rate is the mean over the lift.
	first, last := p.at(p.seatHeight), p.at(open)
	lift := q.Lift.Millimetres()
	a.Rate = Rate((last.value - first.value) / lift)
	a.RateU = Rate(math.Hypot(first.u, last.u) / lift)
	a.Free = nil
	a.Assume("the spring is progressive: between its measured loads it runs as a monotone cubic; the rate told is the mean over the lift")
	a.Cite("monotone cubic: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984), 300-304, from memory")
	return nil
}

type withU struct{ value, u float64 }

// at is the load at a height, with what tester, height and the way between leave.
func (p *Progressive) at(height float64) withU {
	n := len(p.heights)
	inside := min(max(height, p.heights[0]), p.heights[n-1])
	v := p.line.Predict(inside)
	switch {
	case height < p.heights[0]:
		v += p.low * (height - p.heights[0])
	case height > p.heights[n-1]:
		v += p.high * (height - p.heights[n-1])
	}
	i, _ := slices.BinarySearch(p.heights, inside)
	i = min(max(i, 1), n-1)
	share := (inside - p.heights[i-1]) / (p.heights[i] - p.heights[i-1])
	straight := p.loads[i-1] + share*(p.loads[i]-p.loads[i-1])
	slope := math.Abs(p.line.PredictDerivative(inside))
	// The installed height is off, and the tester's at either load.
	return withU{v, worksheet.Combine(loadU*v*math.Hypot(1-share, share), slope*heightU*math.Hypot(1-share, share), slope*heightU, v-straight, 0.5*slope*(height-inside))}
}

// rate is the rate at a height: that between the two loads about it, known to what
// they leave and to what it does over the next two. The slope of the cubic at its end
// would weigh the errors of three loads against each other.
func (p *Progressive) rate(height float64) withU {
	n := len(p.heights)
	inside := min(max(height, p.heights[0]), p.heights[n-1])
	i, _ := slices.BinarySearch(p.heights, inside)
	i = min(max(i, 1), n-1)
	chord := func(i int) float64 { return (p.loads[i-1] - p.loads[i]) / (p.heights[i] - p.heights[i-1]) }
	u := worksheet.Combine(loadU*p.loads[i-1], loadU*p.loads[i], chord(i)*heightU*math.Sqrt2) / (p.heights[i] - p.heights[i-1])
	next := min(i+1, n-1)
	if (inside-p.heights[i-1])/(p.heights[i]-p.heights[i-1]) <= 0.5 || next == i {
		next = max(i-1, 1)
	}
	return withU{chord(i), math.Hypot(u, chord(i)-chord(next))}
}

// InnerQuestion is a spring that is wound into the first and works beside it.
type InnerQuestion struct {
	// Loads of it alone, two or more; Installed its height on the closed valve where
	// that is not the outer one's (a step in the retainer or seat).
	Loads     []Load         `json:"loads,omitempty" flag:"inner-load" form:"HEIGHT:LOAD" help:"a load of the inner spring alone, as in \"40 mm: 120 N\"; twice or more"`
	Installed measure.Length `json:"installed_height_mm,omitzero" bound:"spring" flag:"inner-installed" help:"the inner spring's installed height, where it is not the outer one's"`
	// Mass is its own, in grams, for its frequency and what moves.
	Mass  float64        `json:"mass_g,omitzero" bound:"mass" flag:"inner-mass" help:"the inner spring, in grams"`
	Solid measure.Length `json:"solid_height_mm,omitzero" bound:"spring" flag:"inner-solid" help:"the inner spring's solid height"`
}

// InnerAnswer is what the inner spring does, and both together.
type InnerAnswer struct {
	Rate      Rate   `json:"rate_n_per_mm"`
	RateU     Rate   `json:"rate_u_n_per_mm"`
	SeatLoad  Force  `json:"seat_load_n"`
	SeatLoadU Force  `json:"seat_load_u_n"`
	CoilBind  *Gap   `json:"coil_bind,omitempty"`
	Both      *Force `json:"both_seat_load_n,omitempty"`
	BothU     *Force `json:"both_seat_load_u_n,omitempty"`
	BothOpen  *Force `json:"both_open_load_n,omitempty"`
	BothOpenU *Force `json:"both_open_load_u_n,omitempty"`

	alone SpringAnswer
	asked SpringQuestion
}

func (q *InnerQuestion) check(c *worksheet.Check, installed measure.Length) {
	c.That(len(q.Loads) >= 2, "inner.loads", "holds %d loads: give two or more of the inner spring alone", len(q.Loads))
	c.That(len(q.Loads) <= mostCases, "inner.loads", "has %d loads: no more than %d", len(q.Loads), mostCases)
	for i, l := range q.Loads {
		c.Positive(fmt.Sprintf("inner.loads[%d].height_mm", i), l.Height)
		c.Within(fmt.Sprintf("inner.loads[%d].load_n", i), float64(l.Load), 0, 100_000)
	}
	c.NotNegative("inner.installed_height_mm", q.Installed)
	c.NotNegative("inner.solid_height_mm", q.Solid)
	c.Within("inner.mass_g", q.Mass, 0, 5000)
	c.That(q.Installed != 0 || installed != 0, "installed_height_mm", "is missing: the inner spring's load hangs on it")
}

// nest works the inner spring out by itself and adds it to the outer.
func (a *SpringAnswer) nest(q SpringQuestion) error {
	if q.Inner == nil {
		return nil
	}
	own := q.Inner.Installed
	if own == 0 {
		own = q.Installed
	}
	in := InnerAnswer{asked: SpringQuestion{Loads: q.Inner.Loads, Installed: own, Lift: q.Lift, Solid: q.Inner.Solid}}
	var err error
	if in.alone, err = SolveSpring(in.asked); err != nil {
		if p := (*worksheet.Problem)(nil); errors.As(err, &p) {
			return worksheet.Wrongf("inner."+p.Field, "%s", p.Says)
		}
		return fmt.Errorf("inner spring: %w", err)
	}
	in.Rate, in.RateU, in.SeatLoad, in.SeatLoadU, in.CoilBind = in.alone.Rate, in.alone.RateU, *in.alone.SeatLoad, *in.alone.SeatLoadU, in.alone.CoilBind
	together := func(f, u *Force, g, v *Force) (sum, sumU *Force) {
		if f == nil || g == nil {
			return nil, nil
		}
		return new(*f + *g), new(Force(math.Hypot(float64(*u), float64(*v))))
	}
	in.Both, in.BothU = together(a.SeatLoad, a.SeatLoadU, in.alone.SeatLoad, in.alone.SeatLoadU)
	in.BothOpen, in.BothOpenU = together(a.OpenLoad, a.OpenLoadU, in.alone.OpenLoad, in.alone.OpenLoadU)
	a.Inner = &in
	if in.BothOpen != nil {
		a.Says = append(a.Says, worksheet.Sayf("with the inner spring: %v ± %v on the seat, %v ± %v at full lift", newtons(*in.Both), newtons(*in.BothU), newtons(*in.BothOpen), newtons(*in.BothOpenU)))
	}
	if in.CoilBind != nil {
		a.Says = append(a.Says, worksheet.Sayf("inner spring, %s", in.CoilBind.Says))
	}
	a.Assume("the two springs do not rub on each other; a damper between them adds what is not counted")
	return nil
}
