package timing

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/join"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Why no curve can be made of a trace. The errors that wrap them say what to do.
var (
	// ErrNoAngle: no reading carries both a lift and an angle.
	ErrNoAngle = errors.New("no crank angle in the trace")
	// ErrNoOpening: the lift never leaves the heel and comes to a nose.
	ErrNoOpening = errors.New("no opening in the trace")
)

// FromTrace makes one curve of everything that was measured of a valve while
// the engine was turned by hand.
//
// Only forward progress counts: from where the crank is turned back until it
// is there again, readings are left out, since lash in the drive and the
// indicator's own return error lie in them. So does standing still: readings
// at one angle become one. The rest is averaged in narrow bins of crank angle,
// strays left out, the heel taken off each opening by itself, all openings laid
// over one another, and a robust local cubic is drawn through them.
func FromTrace(tr measure.Trace, opt Options) (*Curve, error) {
	given := opt
	opt = opt.withDefaults()
	if err := opt.check(); err != nil {
		return nil, err
	}
	if opt.Resolution == 0 {
		opt.Resolution = tr.Resolution
	}
	if opt.AngleStep == 0 {
		opt.AngleStep = tr.AngleStep
	}
	c := &Curve{options: opt}
	readings, err := c.forward(tr)
	if err != nil {
		return nil, err
	}
	bins := c.binned(readings)
	if err := c.levelled(bins); err != nil {
		return nil, err
	}
	openings, err := c.openings(bins)
	if err != nil {
		return nil, err
	}
	xs, ys, ns, between := c.folded(bins, openings)
	if len(xs) < 12 {
		return nil, fmt.Errorf("%w: only %d angles were measured, turn the engine more slowly or read faster", ErrNoOpening, len(xs))
	}
	c.made.Method, c.made.Resolution, c.made.AngleStep = Regression, opt.Resolution, opt.AngleStep
	c.options.Method = Regression
	if given.Method != "" && given.Method != Regression {
		c.warn("a trace is always drawn by regression, not by %s", given.Method)
	}
	c.uTDC = opt.uTDC()
	if err := c.regress(xs, ys, ns, between); err != nil {
		return nil, err
	}
	c.liftOf(tr, given)
	return c, nil
}

// placed is a reading in crank degrees and millimetres as the indicator shows
// them; later, a bin of them.
type placed struct {
	x, y float64
	n    float64
}

// forward returns the readings in which the crank was farther than ever
// before, in the direction in which it was turned on the whole, one an angle.
func (c *Curve) forward(tr measure.Trace) ([]placed, error) {
	xs, ys := c.unwrapped(tr)
	if len(xs) == 0 {
		return nil, fmt.Errorf("%w: timing needs an encoder (or the lifts typed in against a degree wheel)", ErrNoAngle)
	}
	first, last := xs[0], xs[len(xs)-1]
	way := 1.0
	if up, down := slices.Max(xs)-first, first-slices.Min(xs); last-first < -360 || last-first < 360 && down > up {
		way = -1
		c.warn("the crank angle falls on the whole: either the engine was turned against its running direction or the encoder counts down (then say so, or opening and closing are exchanged)")
	}
	const jump = 45 // degrees between two readings: no hand turns so fast
	out := make([]placed, 0, len(xs)/2)
	farthest := math.Inf(-1)
	jumps := 0
	for i, x := range xs {
		p := way * x
		if i > 0 && math.Abs(x-xs[i-1]) > jump {
			if i+1 < len(xs) && math.Abs(xs[i+1]-xs[i-1]) < math.Abs(x-xs[i-1])/2 {
				xs[i] = xs[i-1] // a stray: as if it had not been
				c.made.LeftOut++
				continue
			}
			if p < farthest-jump {
				farthest = p
				jumps++
			}
		}
		switch k := len(out) - 1; {
		case p > farthest || k < 0:
			out = append(out, placed{x, ys[i], 1})
			farthest = p
			c.made.Readings++
		case p == farthest && out[k].x == x:
			out[k].n++
			out[k].y += (ys[i] - out[k].y) / out[k].n
			c.made.Readings++
		default:
			c.made.LeftOut++
		}
	}
	if jumps > 0 {
		c.warn("the crank angle jumped back %s without being turned: the encoder lost its count or was set again, so angles before and after may not agree", times(jumps))
	}
	return out, nil
}

// unwrapped returns angle in crank degrees after a top dead centre, growing
// the way the engine turns, and lift in millimetres, of every reading that has
// both. It finds the encoder's step and the indicator's where nobody gave them.
func (c *Curve) unwrapped(tr measure.Trace) (xs, ys []float64) {
	o := &c.options
	xs, ys = make([]float64, 0, len(tr.Readings)), make([]float64, 0, len(tr.Readings))
	if o.Wraps == 0 {
		o.Wraps = wrapsBy(tr.Readings)
	}
	var turns, before measure.Angle
	var lift measure.Length
	step, resolution := measure.Angle(math.MaxInt64), measure.Length(math.MaxInt64)
	joined := join.All(tr.Readings)
	alone := len(joined) > 0 && &joined[0] != &tr.Readings[0] // and between two angles it is no step
	if alone {
		step = leastStep(tr.Readings)
	}
	for _, r := range joined {
		if r.Has&(measure.HasLift|measure.HasAngle) != measure.HasLift|measure.HasAngle {
			continue
		}
		a := r.Angle + turns
		if len(xs) > 0 {
			if o.Wraps > 0 {
				for a-before > o.Wraps/2 {
					a, turns = a-o.Wraps, turns-o.Wraps
				}
				for a-before < -o.Wraps/2 {
					a, turns = a+o.Wraps, turns+o.Wraps
				}
			}
			if d := max(a-before, before-a); d > 0 && !alone {
				step = min(step, d)
			}
			if d := (r.Lift - lift).Abs(); d > 0 {
				resolution = min(resolution, d)
			}
		}
		before, lift = a, r.Lift
		xs, ys = append(xs, o.crank(a)), append(ys, r.Lift.Millimetres())
	}
	if o.Wraps > 0 {
		for _, n := range tr.Notes {
			if n.Kind == measure.NoteGap {
				c.warn("the link was lost at %v while the encoder starts again every %v: if the crank was turned meanwhile, whole turns may be missing", n.At, o.Wraps)
			}
		}
	}
	if o.AngleStep == 0 && step < 45*measure.Degree {
		o.AngleStep = step
	}
	if o.Resolution == 0 && resolution < measure.Millimetre {
		o.Resolution = resolution
	}
	return xs, ys
}

// leastStep is the least that an encoder's angle changed by.
func leastStep(readings []measure.Reading) measure.Angle {
	step, before, any := measure.Angle(math.MaxInt64), measure.Angle(0), false
	for _, r := range readings {
		if r.Has&measure.HasAngle == 0 {
			continue
		}
		if d := max(r.Angle-before, before-r.Angle); any && d > 0 {
			step = min(step, d)
		}
		before, any = r.Angle, true
	}
	return step
}

// wrapsBy finds whether an encoder starts again by itself: all its angles lie
// within one turn, or within one cycle, and it jumps over most of that from one
// reading to the next.
func wrapsBy(readings []measure.Reading) measure.Angle {
	var low, high, jump, before measure.Angle
	first := true
	for _, r := range readings {
		if r.Has&measure.HasAngle == 0 {
			continue
		}
		if first {
			low, high, before, first = r.Angle, r.Angle, r.Angle, false
		}
		jump = max(jump, r.Angle-before, before-r.Angle)
		low, high, before = min(low, r.Angle), max(high, r.Angle), r.Angle
	}
	for _, w := range []measure.Angle{measure.Turn, measure.Cycle} {
		if low >= 0 && high <= w && jump > w*5/6 {
			return w
		}
	}
	return 0
}

// binWidth is the least width of a bin, in crank degrees: under a tenth of
// what any cam's motion can be told apart by.
const binWidth = 0.25

// binned averages neighbouring readings. Within a bin those are left out that
// stray from its median by more than its own scatter and the lift's slope
// explain.
func (c *Curve) binned(readings []placed) []placed {
	width := max(binWidth, c.crankStep())
	keep := 4 * c.options.Resolution.Millimetres()
	var out []placed
	var ys, spread []float64
	for from := 0; from < len(readings); {
		bin := math.Floor(readings[from].x / width)
		to := from + 1
		for to < len(readings) && math.Floor(readings[to].x/width) == bin {
			to++
		}
		in := readings[from:to]
		if len(in) < 3 {
			for _, r := range in {
				out = append(out, placed{r.x, r.y, 1})
			}
			from = to
			continue
		}
		ys, spread = ys[:0], spread[:0]
		for _, r := range in {
			ys = append(ys, r.y)
		}
		m := median(ys)
		for _, y := range ys {
			spread = append(spread, math.Abs(y-m))
		}
		limit := max(5*1.4826*median(spread), keep)
		var p placed
		for _, r := range in {
			if math.Abs(r.y-m) > limit {
				c.made.LeftOut++
				c.made.Readings--
				continue
			}
			p.n++
			p.x += (r.x - p.x) / p.n
			p.y += (r.y - p.y) / p.n
		}
		out = append(out, p)
		from = to
	}
	return out
}

// median sorts values, which are the caller's to lose.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	if n%2 == 1 {
		return values[n/2]
	}
	return (values[n/2-1] + values[n/2]) / 2
}

// crankStep is the encoder's step in crank degrees.
func (c *Curve) crankStep() float64 {
	s := c.options.AngleStep.Degrees()
	if c.options.OnCam {
		s *= 2
	}
	return s
}

// opening is one passage over the nose, between the half lifts.
type opening struct {
	from, to     float64 // crank degrees, from < to
	rises, falls float64 // the lifts in millimetres that are passed there
}

func (o opening) middle() float64 { return (o.from + o.to) / 2 }

// openings finds the whole passages over half lift, and checks that they come
// once a period.
func (c *Curve) openings(bins []placed) ([]opening, error) {
	top := 0.0
	for _, p := range bins {
		top = max(top, p.y)
	}
	// A stray bin must not set the scale: the level that 0.5 % exceed.
	ys := make([]float64, len(bins))
	for i, p := range bins {
		ys[i] = p.y
	}
	slices.Sort(ys)
	top = min(top, 1.1*ys[int(0.995*float64(len(ys)-1))])
	var found []opening
	var start float64
	inside, seenBelow, clipped := false, false, false
	for i, p := range bins {
		switch {
		case !inside && p.y > 0.5*top && (i+1 >= len(bins) || bins[i+1].y > 0.4*top):
			inside, start, clipped = true, p.x, !seenBelow
		case inside && p.y < 0.4*top && (i+1 >= len(bins) || bins[i+1].y < 0.5*top):
			o := opening{start, p.x, 0.5 * top, 0.4 * top}
			if p.x < start { // turned the other way
				o = opening{p.x, start, 0.4 * top, 0.5 * top}
			}
			if !clipped && o.to-o.from > 15 {
				found = append(found, o)
			}
			inside = false
		}
		seenBelow = seenBelow || p.y < 0.4*top
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("%w: the valve did not both open and close; turn the engine one way until the valve has been open and is shut again", ErrNoOpening)
	}
	return found, c.checkPeriod(found, bins)
}

// checkPeriod sees from the distance of the openings whether the encoder sits
// where the options say. Between openings on two sides of a hole, of one that was left
// out or that was lost, there may be others.
func (c *Curve) checkPeriod(found []opening, bins []placed) error {
	period := c.options.Period.Degrees()
	var apart []float64
	for i := 1; i < len(found); i++ {
		before, after := found[i-1].middle(), found[i].middle()
		if !hole(bins, min(before, after), max(before, after), (found[i].to-found[i].from)/2) {
			apart = append(apart, math.Abs(after-before))
		}
	}
	if len(apart) == 0 {
		return nil
	}
	switch d := median(apart); {
	case math.Abs(d-period/2) < period/20 && !c.options.OnCam:
		return worksheet.Wrongf("on_cam", "the valve opens every %s degrees of this encoder, not every %s: the encoder turns with the cam (say so), or the cycle is shorter than given", plain(d), plain(period))
	case math.Abs(d-2*period) < period/10:
		return worksheet.Wrongf("period_deg", "the valve opens every %s degrees, not every %s: the cycle is longer than given, or the encoder is on the crank and not on the cam", plain(d), plain(period))
	case math.Abs(d-math.Round(d/period)*period) > 10:
		c.warn("the openings stand %s degrees apart instead of %s: the encoder slips, loses counts or has another number of counts a turn", plain(d), plain(period))
	}
	return nil
}

// hole tells whether nothing was read over so many degrees somewhere from one angle to
// another.
func hole(bins []placed, from, to, degrees float64) bool {
	for i := 1; i < len(bins); i++ {
		a, b := min(bins[i-1].x, bins[i].x), max(bins[i-1].x, bins[i].x)
		if a >= from && b <= to && b-a > degrees {
			return true
		}
	}
	return false
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
