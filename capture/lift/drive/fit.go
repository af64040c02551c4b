// Package drive says what lift and crank angle tell of each other: by how much the one
// comes later, how fast the valve sinks, what slack is in the drive ([Of]), and whether
// the turns from opening to opening are whole ones ([Fit.Turns]).
//
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
// own unevenness tells, with a prior of 0 +- UnknownLag. What d grows by from one
// opening to the next is the turn of the crank between them: 720 degrees, or the
// encoder has slipped, or counts.
package drive

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"lobescribe/capture/internal/gum"
)

const (
	// MostFitted openings go into one fit.
	MostFitted = 16
	// FlankShare is what belongs to a flank, in max lifts to either side of half lift.
	FlankShare = 0.3
	// UnknownLag is the standard uncertainty of a delay of which nothing is known, seconds:
	// a gauge averages over 0.12 s at the most, and so lags by half of that; rectangular.
	UnknownLag  = 0.035
	mostDriven  = 100 // readings of a flank
	drivePowers = 5
	// mostLag is more than any port is late, seconds, also one without a wire.
	mostLag = 0.6
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

// Fit is what the fit says. Its uncertainties are standard ones.
type Fit struct {
	OK     bool
	Lag, U float64 // by how much lift comes later than the angle, seconds
	// Sink is the pace at which the valve sinks, nanometres a second.
	Sink, SinkU float64
	// Slack is by how much less the crank shows going back than forward at the same
	// lift, degrees; SlackU is 0 for nothing known.
	Slack, SlackU float64
	// Homeward is by how much later still lift comes while the valve shuts, seconds.
	Homeward, HomewardU float64

	shift  []float64    // of each opening, degrees
	width  [][2]float64 // mean residual of each opening's flanks
	within float64      // standard deviation of the residuals on one flank, degrees
	apart  float64      // how far readings on a flank lie apart, degrees
	count  float64      // the coarsest count, degrees
	// off is how far the readings of each opening lie off the fit, in the middle, degrees.
	off []float64
}

// Unfitted is what is known of a drive that nothing tells of.
func Unfitted() Fit { return Fit{U: UnknownLag} }

// Where what is fitted stands: a polynomial for each flank, then these.
const (
	lagAt = 2*drivePowers + iota
	sinkAt
	homeAt
	shiftAt // of the second opening against the first, and so on
)

// Of fits all openings at once.
func Of(openings []*Passage) Fit {
	f, ok := newDriveFit(openings)
	if !ok {
		return Unfitted()
	}
	for range driveSteps {
		if !f.solve() {
			return Unfitted()
		}
		f.weigh()
	}
	return f.says()
}

// driveFit is the fit under way.
type driveFit struct {
	openings []*Passage
	zero     []float64 // of each opening: angles count from its middle, degrees
	c        mat.VecDense
	normal   mat.Cholesky
	row      []float64 // the derivatives by what is fitted
	used     [9]int    // those of them that are of this reading, and how many
	uses     int
	sd, lag  float64

	// Of all readings, opening by opening; angles are those of the lag before.
	angles, weights, residuals []float64
}

// newDriveFit returns none where so few readings follow any curve.
func newDriveFit(openings []*Passage) (*driveFit, bool) {
	n := 0
	for _, o := range openings {
		n += len(o.flanks)
	}
	columns := shiftAt + len(openings) - 1
	if n < 2*columns {
		return nil, false
	}
	f := &driveFit{
		openings: openings, zero: make([]float64, len(openings)), row: make([]float64, columns), sd: 1,
		angles: make([]float64, 0, n), weights: make([]float64, n), residuals: make([]float64, n),
	}
	for i, o := range openings {
		for _, r := range o.flanks {
			f.zero[i] += r.a / float64(len(o.flanks))
			f.angles = append(f.angles, o.at(r.t))
		}
	}
	for i := range f.weights {
		f.weights[i] = 1
	}
	return f, true
}

// see fills the row with a reading of an opening.
func (f *driveFit) see(r reading, i int) {
	f.uses = 0
	k, slope := 1.0, 0.0
	for j := range drivePowers {
		f.put(r.side*drivePowers+j, k)
		if !f.c.IsEmpty() && j+1 < drivePowers {
			slope += f.c.AtVec(r.side*drivePowers+j+1) * float64(j+1) * k / FlankShare
		}
		k *= r.y / FlankShare
	}
	f.put(lagAt, r.w)
	if o := f.openings[i]; !o.Part { // when it opened is not known
		f.put(sinkAt, slope*(r.t-o.t[0]-(0.5+r.y)*o.nose))
	}
	if r.side == 1 {
		f.put(homeAt, r.w)
	}
	if i > 0 {
		f.put(shiftAt-1+i, 1)
	}
}

func (f *driveFit) put(column int, x float64) {
	f.row[column], f.used[f.uses] = x, column
	f.uses++
}

// solve takes a step of Gauss and Newton.
func (f *driveFit) solve() bool {
	columns := len(f.row)
	a, b := make([]float64, columns*columns), make([]float64, columns)
	normal, right := mat.NewSymDense(columns, a), mat.NewVecDense(columns, b)
	k := 0
	for i, o := range f.openings {
		for _, r := range o.flanks {
			r.w = o.speedAt(r.t - f.lag)
			f.see(r, i)
			e := f.angles[k] - f.zero[i]
			used := f.used[:f.uses]
			for n, p := range used {
				x := f.weights[k] * f.row[p]
				b[p] += x * e
				for _, q := range used[n:] {
					a[p*columns+q] += x * f.row[q]
				}
			}
			k++
		}
	}
	for p := range columns {
		ridge := 1e-9
		switch p {
		case lagAt:
			ridge = f.sd * f.sd / (UnknownLag * UnknownLag)
			right.SetVec(p, right.AtVec(p)-ridge*f.lag)
		case sinkAt:
			ridge += f.sd * f.sd / (unknownSink * unknownSink)
		case homeAt:
			ridge = f.sd * f.sd / (unknownHomeward * unknownHomeward)
		}
		normal.SetSym(p, p, normal.At(p, p)+ridge)
	}
	if !f.normal.Factorize(normal) || f.normal.SolveVecTo(&f.c, right) != nil {
		return false
	}
	f.lag = min(max(f.lag+f.c.AtVec(lagAt), -mostLag), mostLag)
	f.c.SetVec(lagAt, 0)
	return true
}

// weigh gives less weight to the readings that the fit leaves far off (Huber's).
func (f *driveFit) weigh() {
	k := 0
	for i, o := range f.openings {
		for _, r := range o.flanks {
			f.see(r, i)
			f.angles[k] = o.at(r.t - f.lag)
			e := f.angles[k] - f.zero[i]
			for _, p := range f.used[:f.uses] {
				e -= f.row[p] * f.c.AtVec(p)
			}
			f.residuals[k] = e
			k++
		}
	}
	f.sd = max(1.4826*middleOf(f.residuals), 0.005)
	for i, e := range f.residuals {
		f.weights[i] = min(1, 2.5*f.sd/max(math.Abs(e), 1e-9))
	}
}

// says returns what the fit has come to.
func (f *driveFit) says() Fit {
	var inverse mat.SymDense
	if f.normal.InverseTo(&inverse) != nil {
		return Unfitted()
	}
	if math.Abs(f.lag) >= mostLag {
		return Unfitted() // no port is so late: something else is wrong with these flanks
	}
	d := Fit{OK: true, Lag: f.lag}
	n := float64(len(f.residuals))
	sd := f.sd * math.Sqrt(n/(n-float64(len(f.row)))) // what the fit has taken up
	known := func(column int) float64 { return together1 * sd * math.Sqrt(inverse.At(column, column)) }
	lift := f.openings[0].Lift
	d.Sink, d.SinkU = f.c.AtVec(sinkAt)*lift, known(sinkAt)*lift
	grain := grainOf(f.openings)
	d.Homeward, d.HomewardU = f.c.AtVec(homeAt), gum.Root(known(homeAt), grain)
	// The prior is in the inverse; what the residuals share is not.
	// Between two readings the crank is taken to go evenly.
	between := 0.0
	for _, o := range f.openings {
		between = max(between, o.every)
	}
	d.U = min(gum.Root(known(lagAt), sparseLag*between, grain), UnknownLag)
	f.openingsIn(&d)
	d.fitSlack(f.openings, &f.c, f.zero)
	return d
}

// shift returns where an opening lies, degrees.
func (f *driveFit) shift(i int) float64 {
	if i == 0 {
		return f.zero[0]
	}
	return f.zero[i] + f.c.AtVec(shiftAt-1+i)
}

// openingsIn says of each opening where it lies and how it fits the others.
func (f *driveFit) openingsIn(d *Fit) {
	k := 0
	within := make([]float64, 0, len(f.residuals))
	for i, o := range f.openings {
		least, most := o.flanks[0].a, o.flanks[0].a
		var sum, count, mean [2]float64
		for j, r := range o.flanks {
			least, most = min(least, r.a), max(most, r.a)
			sum[r.side] += f.residuals[k+j] * f.weights[k+j]
			count[r.side] += f.weights[k+j]
		}
		for side := range mean {
			mean[side] = sum[side] / max(count[side], 1)
		}
		d.apart = max(d.apart, (most-least)/float64(len(o.flanks)))
		d.count = max(d.count, o.count)
		d.off = append(d.off, middleOf(f.residuals[k:k+len(o.flanks)]))
		d.shift, d.width = append(d.shift, f.shift(i)), append(d.width, mean)
		for _, r := range o.flanks {
			within = append(within, f.residuals[k]-mean[r.side])
			k++
		}
	}
	d.within = max(1.4826*middleOf(within), 0.005)
}

// ApartFromAll returns the opening whose readings lie farther off the fit than those of
// any other by far; -1 for none.
func (f *Fit) ApartFromAll() int {
	if !f.OK || len(f.off) < 3 {
		return -1
	}
	worst := 0
	for i, o := range f.off {
		if o > f.off[worst] {
			worst = i
		}
	}
	sorted := slices.Sorted(slices.Values(f.off))
	if next := sorted[len(sorted)-2]; sorted[len(sorted)-1] > offFitTimes*next+max(offFit, f.count/2) {
		return worst
	}
	return -1
}

// offFitTimes and offFit, degrees, are by how much more one opening may lie off.
const offFitTimes, offFit = 3.0, 0.5
