package timing

import (
	"math"
	"slices"
	"sort"

	"lobescribe/capture/timing/smooth"
	"lobescribe/capture/worksheet"
)

// folded lays all openings over one another, in degrees after the overlap's
// top dead centre with the nose in the middle. between is the standard
// deviation among the openings at each angle, 0 where there is but one.
func (c *Curve) folded(bins []placed, openings []opening) (xs, ys, ns, between []float64) {
	period := c.options.Period.Degrees()
	// Mean phase on the circle, so that noses at 719.9 and 0.1 agree.
	var sin, cos float64
	for _, o := range openings {
		s, k := math.Sincos(2 * math.Pi * o.middle() / period)
		sin, cos = sin+s, cos+k
	}
	nose := math.Atan2(sin, cos) / (2 * math.Pi) * period
	cut := nose - period/2
	shift := c.options.frame(nose) - nose
	for _, o := range openings {
		if d := math.Remainder(o.middle()-nose, period); math.Abs(d) > 2 {
			c.warn("an opening lies %s degrees away from the others: the encoder slipped or its drive has play", plain(d))
			break
		}
	}
	c.made.Openings = len(openings)

	cycles := map[int][]placed{}
	for _, p := range bins {
		k := int(math.Floor((p.x - cut) / period))
		cycles[k] = append(cycles[k], placed{p.x - float64(k)*period, p.y, p.n})
	}
	c.rezero(cycles)
	c.slip(openings, cycles, cut)

	width := max(binWidth, c.crankStep())
	slots := map[int][]placed{}
	for _, in := range cycles {
		for _, p := range in {
			k := int(math.Floor((p.x - cut) / width))
			slots[k] = append(slots[k], p)
		}
	}
	order := make([]int, 0, len(slots))
	for k := range slots {
		order = append(order, k)
	}
	slices.Sort(order)
	for _, k := range order {
		p, s := together(slots[k])
		xs, ys = append(xs, p.x+shift), append(ys, p.y)
		// Many readings in a bin are not so many times better than few.
		ns, between = append(ns, min(p.n, 20)), append(between, s)
	}
	return xs, ys, ns, between
}

// slip compares the flanks of the turns with each other: an encoder that lost
// counts on the way puts them apart. Each opening is taken above its own heel, so
// that a zero which moved is not told as a slip; and a flank that nobody looked
// at is not compared.
func (c *Curve) slip(openings []opening, cycles map[int][]placed, cut float64) {
	period := c.options.Period.Degrees()
	var flanks [2][]float64 // where the opening and the closing ones lie
	widest, flank := 0.0, math.Inf(1)
	for _, o := range openings {
		k := int(math.Floor((o.middle() - cut) / period))
		back := float64(k) * period
		for i, at := range [2]struct{ near, level float64 }{{o.from, o.rises}, {o.to, o.falls}} {
			if x, apart, ok := passes(cycles[k], at.near-back, at.level); ok {
				flanks[i] = append(flanks[i], x)
				widest = max(widest, apart)
			}
		}
		flank = min(flank, o.to-o.from)
	}
	apart := 0.0
	for _, f := range flanks {
		if len(f) > 1 {
			apart = max(apart, slices.Max(f)-slices.Min(f))
		}
	}
	// A flank is known to a bin and a count either way, and between readings to
	// what a lobe's curvature leaves of the straight line from one to the next: by
	// doubtGaps' figures 3/4·lift·(L/β)², over a slope of at least lift/β.
	usual := 2*binWidth + 2*c.crankStep() + 2*0.75*widest*widest/flank
	if apart > usual {
		c.uSlip = rectangular(apart)
		c.warn("the same flank lies %s degrees elsewhere in another turn: the encoder lost counts or its drive slips; the ± of the angles holds that", plain(apart))
	}
}

// passes returns where neighbouring points of one turn pass a level, the place
// nearest to near, and how far apart the two points stand. There is none where
// they stand further apart than a curve may be carried.
func passes(points []placed, near, level float64) (x, apart float64, ok bool) {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		d := math.Abs(b.x - a.x)
		if (a.y > level) == (b.y > level) || d > gap {
			continue
		}
		at := a.x + (b.x-a.x)*(level-a.y)/(b.y-a.y)
		if math.Abs(at-near) > gap || ok && math.Abs(at-near) >= math.Abs(x-near) {
			continue
		}
		x, apart, ok = at, d, true
	}
	return x, apart, ok
}

// together averages the bins of several openings at one angle; of three or
// more, one far from the median of all is left out.
func together(ps []placed) (mean placed, s float64) {
	if len(ps) >= 3 {
		ys, off := make([]float64, len(ps)), make([]float64, len(ps))
		for i, p := range ps {
			ys[i] = p.y
		}
		m := median(ys)
		for i, p := range ps {
			off[i] = math.Abs(p.y - m)
		}
		limit := max(5*1.4826*median(off), 0.02)
		kept := ps[:0:0]
		for _, p := range ps {
			if math.Abs(p.y-m) <= limit {
				kept = append(kept, p)
			}
		}
		ps = kept
	}
	n, squares := 0.0, 0.0
	for _, p := range ps {
		n++
		d := p.y - mean.y
		mean.x += (p.x - mean.x) / n
		mean.y += d / n
		squares += d * (p.y - mean.y)
		mean.n += p.n
	}
	if n > 1 {
		s = math.Sqrt(squares / (n - 1))
	}
	return mean, s
}

// rezero takes off each opening its own heel, so that a zero which moved from
// one opening to the next does not smear the curve. The dst is altered.
func (c *Curve) rezero(dst map[int][]placed) {
	top := 0.0
	for _, in := range dst {
		for _, p := range in {
			top = max(top, p.y)
		}
	}
	low, high := 0.0, 0.0
	for _, in := range dst {
		var flat []float64
		for _, p := range in {
			if math.Abs(p.y) < 0.05*top {
				flat = append(flat, p.y)
			}
		}
		if len(flat) < 40 { // ten degrees: too little to say
			continue
		}
		slices.Sort(flat)
		heel, _ := densest(flat, c.options.Resolution.Millimetres())
		for i := range in {
			in[i].y -= heel
		}
		low, high = min(low, heel), max(high, heel)
	}
	c.made.HeelShift = millimetres(high - low)
	if high-low > max(0.02, 3*c.options.Resolution.Millimetres()) {
		c.warn("the heel moved by %s between openings: something slips (the indicator's stand, or the zero was set)", worksheet.Rounded(c.made.HeelShift))
	}
}

// thinned averages points that stand closer than half a bin, so that the work
// does not grow with the square of how many somebody crowds together.
func thinned(xs, ys, ns []float64) (tx, ty, tn []float64) {
	slot := math.Inf(-1)
	for i, x := range xs {
		if s := math.Floor(x / (binWidth / 2)); s > slot {
			slot = s
			tx, ty, tn = append(tx, x), append(ty, ys[i]), append(tn, ns[i])
			continue
		}
		k := len(tx) - 1
		tn[k] += ns[i]
		tx[k] += (x - tx[k]) * ns[i] / tn[k]
		ty[k] += (ys[i] - ty[k]) * ns[i] / tn[k]
	}
	return tx, ty, tn
}

// gap is how many crank degrees without a reading a curve may be carried over.
const gap = 10

// wide is the half width in crank degrees from which a cubic begins to round
// off what a cam does.
const wide = 8

// regress draws the curve through points in order by local regression, and
// works out its noise.
func (c *Curve) regress(xs, ys, ns, between []float64) error {
	step := c.options.Step.Degrees()
	half := c.options.HalfWidth.Degrees()
	// The grid stands on whole steps.
	from, to := math.Ceil(xs[0]/step), math.Floor(xs[len(xs)-1]/step)
	at := make([]float64, 0, int(to-from)+1)
	for k := from; k <= to; k++ {
		at = append(at, k*step)
	}
	local := smooth.Local{HalfWidth: half, Robust: 2, Least: 7, Gap: gap,
		Trust: max(c.options.Resolution.Millimetres(), 0.002*slices.Max(ys))}
	fit, err := local.Fit(xs, ys, ns, at)
	if err != nil {
		return err
	}
	line, err := smooth.NewLine(at, fit.Values, smooth.Natural)
	if err != nil {
		return err
	}
	c.line, c.x, c.y, c.rows = line, at, fit.Values, fit.Rows
	c.made.Step = c.options.Step
	_, top := line.Highest(at[0], at[len(at)-1])
	widest := half
	for i, w := range fit.Widths {
		if fit.Values[i] > 0.02*top {
			widest = max(widest, w)
		}
	}
	c.made.HalfWidth = degrees(widest)
	if widest > wide {
		c.warn("readings stand so far apart that the curve had to be drawn from %s degrees either side: turn the engine more slowly", plain(widest))
	}
	for i := 1; i < len(xs); i++ {
		if xs[i]-xs[i-1] > gap && max(ys[i], ys[i-1]) > 0.02*top {
			c.warn("no reading was taken between %s and %s (%s of lift there): what lies between is a straight line, turn the engine through it again",
				saysNose(degrees(xs[i-1])), saysNose(degrees(xs[i])), worksheet.Rounded(millimetres(max(ys[i], ys[i-1]))))
		}
	}
	c.sigma = c.scatter(xs, fit)
	c.noise = make([]float64, len(at))
	for i, r := range fit.Rows {
		c.noise[i] = r.Noise(c.sigma)
	}
	if between != nil && c.made.Openings > 1 {
		// Openings laid over one another show what repeats badly over whole
		// flanks, which the scatter about the curve cannot.
		pooled := movingRMS(xs, between, 5)
		for i, x := range at {
			k := min(sort.SearchFloat64s(xs, x), len(xs)-1)
			c.noise[i] = max(c.noise[i], pooled[k]/math.Sqrt(float64(c.made.Openings)))
		}
	}
	c.doubtGaps(xs, top)
	c.warnOfEnds()
	c.top = c.noseOf(xs, ys, ns, count(c.options.Resolution.Millimetres()))
	return nil
}

// doubtGaps adds to the noise what a flank may do where nobody looked: over a
// gap of length L a curve of acceleration a leaves the straight line by up to
// a·L²/8. A lobe's largest acceleration is about 6·lift/β² (5 to 7.5 among the
// usual laws), and its flank β about as long as the opening at half lift.
func (c *Curve) doubtGaps(xs []float64, top float64) {
	nose, _ := c.line.Highest(c.x[0], c.x[len(c.x)-1])
	left, _, okLeft := c.line.Down(nose, top/2, -1)
	right, _, okRight := c.line.Down(nose, top/2, +1)
	flank := right - left
	if !okLeft || !okRight || flank < 30 {
		flank = 60
	}
	for i, x := range c.x {
		k := sort.SearchFloat64s(xs, x)
		if k == 0 || k == len(xs) || xs[k]-xs[k-1] <= gap {
			continue
		}
		if c.line.At(xs[k]) < 0.02*top && c.line.At(xs[k-1]) < 0.02*top {
			continue // both ends on the heel
		}
		off := 3 * top / (flank * flank) * (x - xs[k-1]) * (xs[k] - x)
		c.noise[i] = math.Hypot(c.noise[i], rectangular(off))
	}
}

// scatter returns the standard uncertainty of each point that was fitted: from
// the residuals within 10 degrees, but no less than the indicator's counts
// leave open. Where the lift passes many counts within a bin they average out;
// where it passes less than one, they do not.
func (c *Curve) scatter(xs []float64, fit smooth.Fit) []float64 {
	r := make([]float64, len(xs))
	for i := range r {
		r[i] = math.Sqrt(fit.Kept[i]) * fit.Residuals[i] / math.Sqrt(max(1-fit.Leverage[i], 0.1))
	}
	s := movingRMS(xs, r, 10)
	resolution := c.options.Resolution.Millimetres()
	width := max(binWidth, c.crankStep())
	for i, x := range xs {
		floor := 0.0
		if resolution > 0 {
			passes := math.Abs(c.line.Slope(x)) * width / resolution
			floor = count(resolution) / math.Sqrt(max(passes, 1))
		}
		s[i] = max(s[i], floor)
	}
	return s
}

// movingRMS returns the root mean square of the values within reach of each.
func movingRMS(xs, values []float64, reach float64) []float64 {
	sums := make([]float64, len(xs)+1)
	for i, v := range values {
		sums[i+1] = sums[i] + v*v
	}
	out := make([]float64, len(xs))
	a, b := 0, 0
	for i, x := range xs {
		for a < len(xs) && xs[a] < x-reach {
			a++
		}
		for b < len(xs) && xs[b] <= x+reach {
			b++
		}
		out[i] = math.Sqrt(max(sums[b]-sums[a], 0) / float64(b-a))
	}
	return out
}
