package lift

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// What an encoder and its drive are worth shows when the same lift comes again.
// On one flank lift and crank angle belong together, and so the angle is
//
//	a(t-tau) = Q(y(t)) + d
//
// with a the angle the way the engine turns, Q a polynomial of the lift for each
// flank, d a shift for each opening, and tau by how long lift comes later than the
// angle: a gauge that averages, or a port that is late; less than nothing where it
// is the angle that comes late. All is fitted at once by least squares (Gauss and
// Newton, the angle at t-tau read off the recording itself); tau is what the hand's
// own unevenness tells, with a prior of 0 +- unknownLag. What d grows by from one
// opening to the next is the turn of the crank between them: 720 degrees, or the
// encoder has slipped, or counts.

// driven is a reading on a flank as the fit of the drive takes it.
type driven struct {
	side    int     // 0 the opening flank, 1 the closing one
	y, a, w float64 // lift over half lift in max lifts; degrees forward; degrees a second
	t       float64 // seconds
}

// passed is an opening as that fit takes it: readings on its flanks, and the way
// the crank went, by time.
type passed struct {
	flanks []driven
	backs  [][]driven // readings on its flanks where the crank went back, by stroke
	t, a   []float64  // seconds, degrees forward
	lift   float64    // max lift, nanometres
	nose   float64    // seconds from when the valve opened to the nose
	part   bool       // it is one flank, or a part of one
	stood  float64    // when the crank stood while the valve moved, seconds; 0 for never
}

// at returns the angle at a time, between the readings on a straight line.
func (o *passed) at(t float64) float64 {
	i, _ := slices.BinarySearch(o.t, t)
	switch {
	case i == 0:
		return o.a[0]
	case i == len(o.t):
		return o.a[i-1]
	}
	if d := o.t[i] - o.t[i-1]; d > 0 {
		return o.a[i-1] + (o.a[i]-o.a[i-1])*(t-o.t[i-1])/d
	}
	return o.a[i]
}

const (
	mostFitted  = 16  // openings
	mostDriven  = 100 // readings of a flank
	drivenShare = 0.3 // of the max lift to either side of half lift
	drivePowers = 5
	unknownLag  = 0.035 // s: half of unknownAverage at most, rectangular
	// mostLag is more than any port is late, seconds.
	mostLag = 0.25
	// unknownSink is what is known of the pace at which a valve may sink, max lifts a
	// second.
	unknownSink = 0.02
	// unknownHomeward is what is known of how much later the spindle goes home than out,
	// seconds: a sound one goes alike.
	unknownHomeward = 0.001
	driveSteps      = 8
	// sparseLag is how well a delay can be known at the best, in times between
	// readings.
	sparseLag = 0.05
	// portLate is by how much a port is late at the most, seconds, for it to be fitted
	// well.
	portLate = 0.1
	// So much play may be in a drive that goes the other way for a moment, degrees.
	leastForward = 1.0
	// Residuals of one stroke go together: their mean is known so much worse.
	together1 = 2.5
)

// mostPath bounds the readings of an opening's way of the crank.
const mostPath = 4000

// speedOver is the time over which the crank's speed is taken, seconds: a
// coarse encoder counts only a few times in less.
const speedOver = 0.06

// passes samples the flanks of an opening where the crank goes forward into what
// it has not passed, and the way of the crank.
func (v *view) passes(lift, way float64) *passed {
	o := &passed{lift: lift, nose: (v.noseAt - v.p[0].t) / s}
	stride := 1 + len(v.p)/mostPath
	o.t, o.a = make([]float64, 0, len(v.p)/stride+1), make([]float64, 0, len(v.p)/stride+1)
	for i := 0; i < len(v.p); i += stride {
		o.t, o.a = append(o.t, v.p[i].t/s), append(o.a, v.p[i].a*way)
	}
	far := math.Inf(-1)
	half := lift / 2
	resumed, turned, since, farAt := far, far, far, far
	for i := 1; i < len(v.p)-1; i++ {
		a := v.p[i].a * way
		if a < far-1e-9 {
			resumed, since = far+leastForward, math.Inf(1)
		}
		if a > far { // a stroke back begins below
			far, turned, farAt = a, a, v.p[i].t/s
		}
		y := (v.y[i] - half) / lift
		r := driven{y: y, a: a, t: v.p[i].t / s}
		if a > v.noseA*way {
			r.side = 1
		}
		if a < turned { // still going back
			if turned > far-leastForward && a <= far-leastForward { // more than a hand trembles
				o.backs = append(o.backs, nil)
				o.flanks = before(o.flanks, turnedAt(o.flanks, farAt-portLate)-speedOver)
			}
			turned = a
			if far-a > slackBack && math.Abs(y) < backShare {
				last := len(o.backs) - 1
				o.backs[last] = append(o.backs[last], r)
			}
		}
		if a < resumed {
			continue
		}
		if since = min(since, r.t); r.t < since+speedOver/2 || math.Abs(y) > drivenShare {
			continue // the lift may still be of before
		}
		o.flanks = append(o.flanks, r)
	}
	o.stood = v.stood(lift)
	o.backs = slices.DeleteFunc(o.backs, func(b []driven) bool { return len(b) < leastBackward })
	if stride := 1 + len(o.flanks)/(2*mostDriven); stride > 1 {
		kept := o.flanks[:0]
		for i := 0; i < len(o.flanks); i += stride {
			kept = append(kept, o.flanks[i])
		}
		o.flanks = kept
	}
	for i := range o.flanks {
		o.flanks[i].w = o.speedAt(o.flanks[i].t)
	}
	return o
}

const (
	// A port that is late, or a gauge that averages, is done by then, seconds.
	stoodAfter = 0.3
	// So much of the max lift no valve moves by with its crank at rest, in so many
	// readings, none of which is a leap.
	stoodMoved, stoodReadings, stoodLeap = 0.08, 5, 0.5
)

// stood returns when the crank began to stand while the valve moved on, seconds; 0
// where it never did.
func (v *view) stood(lift float64) float64 {
	from, after := 0, -1 // where the crank stopped; and the first reading long enough after
	leap := 0.0
	for i := range v.p {
		if math.Abs(v.p[i].a-v.p[from].a) > stillDegrees {
			from, after = i, -1
			continue
		}
		if after < 0 {
			if v.p[i].t-v.p[from].t > stoodAfter*s {
				after, leap = i, 0
			}
			continue
		}
		leap = max(leap, math.Abs(v.y[i]-v.y[i-1]))
		if moved := math.Abs(v.y[i] - v.y[after]); i-after >= stoodReadings && moved > stoodMoved*lift && leap < stoodLeap*moved {
			return v.p[from].t / s
		}
	}
	return 0
}

// before returns the readings up to a time: what the hand does right after them has
// no part in their speed.
func before(flank []driven, t float64) []driven {
	n := len(flank)
	for n > 0 && flank[n-1].t > t {
		n--
	}
	return flank[:n]
}

// turnedAt returns when the valve turned back, of a flank whose crank did so after a
// time: with play between crank and encoder, or an encoder whose port is late, the
// valve does before the encoder.
func turnedAt(flank []driven, after float64) float64 {
	at, farthest := math.Inf(1), math.Inf(-1)
	for i := len(flank) - 1; i >= 0 && flank[i].t >= after; i-- {
		y := flank[i].y
		if flank[i].side == 1 {
			y = -y
		}
		if y > farthest {
			at, farthest = flank[i].t, y
		}
	}
	return at
}

// speedAt returns how fast the crank went at a time, degrees a second.
func (o *passed) speedAt(t float64) float64 {
	from, to := max(t-speedOver, o.t[0]), min(t+speedOver, o.t[len(o.t)-1])
	return (o.at(to) - o.at(from)) / max(to-from, 1e-3)
}

// drive is what the fit says.
type drive struct {
	ok     bool
	lag, u float64 // seconds, standard uncertainty
	// sink is the pace at which the valve sinks, nanometres a second, with its
	// standard uncertainty.
	sink, sinkU float64
	shift       []float64    // of each opening, degrees
	width       [][2]float64 // mean residual of each opening's flanks
	within      float64      // standard deviation of the residuals on one flank, degrees
	apart       float64      // how far readings on a flank lie apart, degrees
	loose       float64      // the turns between openings are off by this, degrees, without its being told
	// slack is by how much less the crank shows going back than forward at the same
	// lift, degrees, with its standard uncertainty; 0 for nothing known.
	slack, slackU float64
	// homeward is by how much later still lift comes while the valve shuts, seconds,
	// with its standard uncertainty.
	homeward, homewardU float64
	// off is how far the readings of each opening lie off the fit, in the middle, degrees.
	off []float64
}

// unfitted is what is known of a drive that nothing tells of.
func unfitted() drive { return drive{u: unknownLag} }

// Where what is fitted stands: a polynomial for each flank, then these.
const (
	lagAt = 2*drivePowers + iota
	sinkAt
	homeAt
	shiftAt // of the second opening against the first, and so on
)

// fitDrive fits all openings at once.
func fitDrive(openings []*passed) drive {
	n := 0
	for _, o := range openings {
		n += len(o.flanks)
	}
	columns := shiftAt + len(openings) - 1
	if n < 2*columns { // so few readings follow any curve
		return unfitted()
	}
	// Angles count from the middle of each opening, speeds stay as they are.
	zero := make([]float64, len(openings))
	for i, o := range openings {
		for _, r := range o.flanks {
			zero[i] += r.a / float64(len(o.flanks))
		}
	}
	var c mat.VecDense
	row := func(r driven, i int, dst []float64) {
		clear(dst)
		k, slope := 1.0, 0.0
		for j := range drivePowers {
			dst[r.side*drivePowers+j] = k
			if !c.IsEmpty() && j+1 < drivePowers {
				slope += c.AtVec(r.side*drivePowers+j+1) * float64(j+1) * k / drivenShare
			}
			k *= r.y / drivenShare
		}
		dst[lagAt] = r.w
		if r.side == 1 {
			dst[homeAt] = r.w
		}
		o := openings[i]
		if !o.part { // when it opened is not known
			dst[sinkAt] = slope * (r.t - o.t[0] - (0.5+r.y)*o.nose)
		}
		if i > 0 {
			dst[shiftAt-1+i] = 1
		}
	}
	weights := make([]float64, n)
	for i := range weights {
		weights[i] = 1
	}
	x := make([]float64, columns)
	residuals := make([]float64, n)
	var chol mat.Cholesky
	sd, lag := 1.0, 0.0
	for range driveSteps {
		normal := mat.NewSymDense(columns, nil)
		right := mat.NewVecDense(columns, nil)
		k := 0
		for i, o := range openings {
			for _, r := range o.flanks {
				r.w = o.speedAt(r.t - lag)
				row(r, i, x)
				for p, xp := range x {
					if xp == 0 {
						continue
					}
					right.SetVec(p, right.AtVec(p)+weights[k]*xp*(o.at(r.t-lag)-zero[i]))
					for q := p; q < columns; q++ {
						if x[q] != 0 {
							normal.SetSym(p, q, normal.At(p, q)+weights[k]*xp*x[q])
						}
					}
				}
				k++
			}
		}
		for p := range columns {
			ridge := 1e-9
			switch p {
			case lagAt:
				ridge = sd * sd / (unknownLag * unknownLag)
				right.SetVec(p, right.AtVec(p)-ridge*lag)
			case sinkAt:
				ridge += sd * sd / (unknownSink * unknownSink)
			case homeAt:
				ridge = sd * sd / (unknownHomeward * unknownHomeward)
			}
			normal.SetSym(p, p, normal.At(p, p)+ridge)
		}
		if !chol.Factorize(normal) || chol.SolveVecTo(&c, right) != nil {
			return unfitted()
		}
		k = 0
		var abs []float64
		lag = min(max(lag+c.AtVec(lagAt), -mostLag), mostLag)
		c.SetVec(lagAt, 0)
		for i, o := range openings {
			for _, r := range o.flanks {
				row(r, i, x)
				e := o.at(r.t-lag) - zero[i]
				for p, xp := range x {
					e -= xp * c.AtVec(p)
				}
				residuals[k] = e
				abs = append(abs, math.Abs(e))
				k++
			}
		}
		slices.Sort(abs)
		sd = max(1.4826*abs[len(abs)/2], 0.005)
		for i, e := range residuals {
			weights[i] = min(1, 2.5*sd/max(math.Abs(e), 1e-9)) // Huber's
		}
	}
	var inverse mat.SymDense
	if chol.InverseTo(&inverse) != nil {
		return unfitted()
	}
	if math.Abs(lag) >= mostLag {
		return unfitted() // no port is so late: something else is wrong with these flanks
	}
	d := drive{ok: true, lag: lag}
	sd *= math.Sqrt(float64(n) / float64(n-columns)) // what the fit has taken up
	d.sink = c.AtVec(sinkAt) * openings[0].lift
	d.sinkU = together1 * sd * math.Sqrt(inverse.At(sinkAt, sinkAt)) * openings[0].lift
	d.homeward, d.homewardU = c.AtVec(homeAt), hypot(together1*sd*math.Sqrt(inverse.At(homeAt, homeAt)), grainOf(openings))
	// The prior is in the inverse; what the residuals share is not.
	// Between two readings the crank is taken to go evenly.
	between := 0.0
	for _, o := range openings {
		between = max(between, (o.t[len(o.t)-1]-o.t[0])/float64(len(o.t)-1))
	}
	grain := grainOf(openings)
	d.u = min(hypot(together1*sd*math.Sqrt(inverse.At(lagAt, lagAt)), sparseLag*between, grain), unknownLag)
	k := 0
	within := make([]float64, 0, n)
	for i, o := range openings {
		least, most := o.flanks[0].a, o.flanks[0].a
		for _, r := range o.flanks {
			least, most = min(least, r.a), max(most, r.a)
		}
		d.apart = max(d.apart, (most-least)/float64(len(o.flanks)))
		shift := zero[i]
		if i > 0 {
			shift += c.AtVec(shiftAt - 1 + i)
		}
		var sum, count, mean [2]float64
		for j, r := range o.flanks {
			sum[r.side] += residuals[k+j] * weights[k+j]
			count[r.side] += weights[k+j]
		}
		for side := range mean {
			mean[side] = sum[side] / max(count[side], 1)
		}
		d.off = append(d.off, middleOf(residuals[k:k+len(o.flanks)]))
		for _, r := range o.flanks {
			within = append(within, math.Abs(residuals[k]-mean[r.side]))
			k++
		}
		d.shift = append(d.shift, shift)
		d.width = append(d.width, mean)
	}
	slices.Sort(within)
	d.within = max(1.4826*within[len(within)/2], 0.005)
	d.fitSlack(openings, &c, zero)
	return d
}

// grainOf returns what the encoder's count, and flanks that are no polynomial, leave
// unknown of a delay, seconds: a crank that goes slowly passes each count at the same
// lift every time, and one that goes evenly tells a delay from a flank's shape by little.
func grainOf(openings []*passed) float64 {
	count, n, sum, square := math.Inf(1), 0.0, 0.0, 0.0
	for _, o := range openings {
		count = min(count, countOf(o.a))
		for _, r := range o.flanks {
			w := math.Abs(o.speedAt(r.t))
			n, sum, square = n+1, sum+w, square+w*w
		}
	}
	speed := sum / n
	uneven := math.Sqrt(max(square/n-speed*speed, 0))
	if !(speed > 0 && uneven > 0) {
		return unknownLag
	}
	return hypot(grainShare*count/speed, flankMisfit/uneven)
}

// flankMisfit is by how much a flank is no polynomial of so many powers, degrees.
const flankMisfit = 0.004

// grainShare of a count is a standard uncertainty of where in a count the crank is: less
// than one of a single reading, since a hand is never quite even.
const grainShare = 0.1

// middleOf returns the middle of the sizes of residuals.
func middleOf(residuals []float64) float64 {
	size := make([]float64, len(residuals))
	for i, e := range residuals {
		size[i] = math.Abs(e)
	}
	slices.Sort(size)
	return size[len(size)/2]
}

// fitSlack compares the strokes back with the flanks that go forward: at the same
// lift the crank has gone back by the slack before the valve follows.
func (d *drive) fitSlack(openings []*passed, c *mat.VecDense, zero []float64) {
	var means []float64 // of each stroke
	speed := 0.0
	for i, o := range openings {
		shift := zero[i]
		if i > 0 {
			shift += c.AtVec(shiftAt - 1 + i)
		}
		for _, stroke := range o.backs {
			mean := 0.0
			for _, r := range stroke {
				forward, k := shift, 1.0
				for j := range drivePowers {
					forward += c.AtVec(r.side*drivePowers+j) * k
					k *= r.y / drivenShare
				}
				mean += (forward - o.at(r.t-d.lag)) / float64(len(stroke))
				speed += math.Abs(o.speedAt(r.t)) / float64(len(stroke))
			}
			means = append(means, mean)
		}
	}
	n := float64(len(means))
	if n < leastStrokes {
		return
	}
	slices.Sort(means)
	d.slack = (means[len(means)/2] + means[(len(means)-1)/2]) / 2
	off := make([]float64, len(means))
	for i, m := range means {
		off[i] = math.Abs(m - d.slack)
	}
	slices.Sort(off)
	scatter := max(1.4826*off[len(off)/2], d.within)
	// Going back the lag works the other way.
	d.slackU = hypot(1.25*scatter/math.Sqrt(n), 2*d.u*speed/n)
}

const (
	// A stroke back tells of slack once it has taken that up, degrees; and where the
	// flanks forward are fitted well.
	slackBack, backShare = 2.5, 0.9 * drivenShare
	leastBackward        = 3 // readings of a stroke
	leastStrokes         = 2
)
