package timing

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// RatioOptions say how to compare a lobe-side with a valve-side curve.
type RatioOptions struct {
	// Nominal ratio, 0 if there is none to compare with.
	Nominal float64
	// Lash at the valve while the valve-side curve was measured. Nil: found
	// from the curves, as what is missing at the foot of the flanks.
	Lash *measure.Length
	// Degree of the polynomial of valve lift over lobe lift, 2 to 5. Default 3:
	// a rocker's arc, its offset and a little flex.
	Degree int
}

// RatioCurve is the rocker ratio against lobe lift.
type RatioCurve struct {
	// Lash at the valve, given or found, with its expanded uncertainty.
	Lash      measure.Length `json:"lash_mm"`
	LashU     measure.Length `json:"lash_u_mm"`
	LashFound bool           `json:"lash_found"`
	// Apart is by how many crank degrees the valve's curve lies after the
	// lobe's. It should be 0 within its uncertainty; if not, the two traces do
	// not share one top dead centre.
	Apart  measure.Angle `json:"apart_deg"`
	ApartU measure.Angle `json:"apart_u_deg"`
	// AtNose is (valve lift + lash) / lobe lift at the nose, by the fit.
	AtNose  float64 `json:"ratio_at_nose"`
	AtNoseU float64 `json:"ratio_at_nose_u"`
	Nominal float64 `json:"nominal,omitempty"`
	// Stations at tenths of the lobe lift.
	Stations []RatioStation `json:"stations"`
	// Opening and Closing are the mean of valve lift off the fitted curve on
	// each flank: their difference is flex, friction or backlash.
	Opening measure.Length `json:"opening_flank_off_mm"`
	Closing measure.Length `json:"closing_flank_off_mm"`
	// Scatter is the standard deviation about the fitted curve.
	Scatter  measure.Length       `json:"scatter_mm"`
	Warnings []worksheet.Sentence `json:"warnings,omitempty"`

	// at is the lift on the valve's curve, lash and heel as they were, with its
	// standard uncertainty; top the lobe's lift in mm.
	at     func(lobe float64) (valve, u float64)
	slopes func(lobe float64) (ratio, u, change, changeU float64)
	top    float64
}

// RatioStation is the ratio at one lobe lift.
type RatioStation struct {
	Lobe  measure.Length `json:"lobe_lift_mm"`
	Valve measure.Length `json:"valve_lift_mm"` // lash added
	// ValveU is expanded.
	ValveU measure.Length `json:"valve_lift_u_mm"`
	// Ratio is valve movement over lobe movement at that lift; Mean is that
	// from the heel up to it. U are expanded.
	Ratio  float64 `json:"ratio"`
	RatioU float64 `json:"ratio_u"`
	Mean   float64 `json:"mean_ratio"`
	// Off is Ratio minus nominal, absent without one.
	Off *float64 `json:"off_nominal,omitempty"`
}

// No rocker's ratio lies outside of these, worn or bent as it may be (common practice,
// no source).
const leastRatio, mostRatio = 0.4, 4

// Ratio works out the rocker ratio from two curves of the same valve, one
// measured at the lobe (lifter, pushrod) and one at the valve.
//
// Both flanks together are fitted by least squares,
//
//	valve(θ) = -lash + Σ c_k · lobe(θ)^k - apart · d valve/dθ,
//
// and the ratio is the polynomial's slope. Turning the engine for the second
// trace need not begin at the same place; the angle between the two is found,
// because it acts on the flanks in opposite ways while the ratio acts alike.
func Ratio(lobe, valve *Curve, o RatioOptions) (RatioCurve, error) {
	if o.Degree == 0 {
		o.Degree = 3
	}
	switch {
	case o.Degree < 2 || o.Degree > 5:
		return RatioCurve{}, worksheet.Wrongf("ratio.degree", "%d (from 2 to 5)", o.Degree)
	case o.Nominal != 0 && !(o.Nominal >= 0.2 && o.Nominal <= 5):
		return RatioCurve{}, worksheet.Wrongf("ratio.nominal", "%v is no rocker's ratio (from 0.2 to 5)", o.Nominal)
	case o.Lash != nil && (*o.Lash < 0 || *o.Lash > 10*measure.Millimetre):
		return RatioCurve{}, worksheet.Wrongf("ratio.lash_mm", "%v is no lash (from 0 to 10 mm)", *o.Lash)
	}
	both, err := rowsOf(lobe, valve, o)
	if err != nil {
		return RatioCurve{Nominal: o.Nominal}, err
	}
	fit, err := both.solve(lobe, valve, o)
	if err != nil {
		return RatioCurve{Nominal: o.Nominal}, err
	}
	return fit.curve(lobe, valve, o)
}

// ratioRows are the degrees at which both curves lie above the heel: the equations of
// the fit.
type ratioRows struct {
	xs      []float64 // in the lobe's frame
	design  *mat.Dense
	lifts   *mat.VecDense // of the valve, in mm
	columns int           // powers from 0, and the shift
	top     float64       // of the lobe, in mm
}

// rowsOf takes the degrees at which something is moved, and no lash or ramp.
func rowsOf(lobe, valve *Curve, o RatioOptions) (ratioRows, error) {
	lobeNose, valveNose := lobe.Nose(), valve.Nose()
	top := lobeNose.MaxLift.Millimetres()
	// Degrees of the lobe's frame to the valve's: whole turns may lie between.
	turns := 360 * math.Round((valveNose.Angle-lobeNose.Angle).Degrees()/360)
	if d := math.Abs((valveNose.Angle - lobeNose.Angle).Degrees() - turns); d > 30 {
		return ratioRows{}, fmt.Errorf("ratio: the two noses lie %s degrees apart, so the traces are not of one valve against one top dead centre: check angle_deg and tdc_deg of both", plain(d))
	}
	var xs, ls, vs, ds []float64
	for x := math.Ceil(lobe.x[0]); x <= lobe.x[len(lobe.x)-1]; x++ {
		l, v := lobe.line.At(x), valve.line.At(x+turns)
		// Below a twentieth lies the lash and its ramp, where nothing is moved.
		if l > 0.05*top && v > 0.02*valveNose.MaxLift.Millimetres() && x+turns > valve.x[0] && x+turns < valve.x[len(valve.x)-1] {
			xs, ls, vs = append(xs, x), append(ls, l/top), append(vs, v)
			ds = append(ds, valve.line.Slope(x+turns))
		}
	}
	columns := o.Degree + 2
	n := len(xs)
	if n < 3*columns {
		return ratioRows{}, fmt.Errorf("ratio: only %d degrees of both curves lie above the heel together, at least %d are needed", n, 3*columns)
	}
	design, lifts := mat.NewDense(n, columns, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := range columns - 1 {
			design.Set(i, j, math.Pow(ls[i], float64(j)))
		}
		design.Set(i, columns-1, -ds[i])
		lifts.SetVec(i, vs[i])
	}
	return ratioRows{xs, design, lifts, columns, top}, nil
}

// ratioFit is the polynomial, with how well it is known.
type ratioFit struct {
	ratioRows
	fit, residual mat.VecDense
	cov           mat.SymDense
	variance      float64
	scatter       float64 // mm, of the lifts about the fit
	uLash         float64 // mm, of a lash that was told
	uHeel         float64 // mm, of the lobe's curve
}

// solve fits by least squares.
func (q ratioRows) solve(lobe, valve *Curve, o RatioOptions) (*ratioFit, error) {
	f := &ratioFit{ratioRows: q, uHeel: lobe.uHeel}
	valveTop, n := valve.Nose().MaxLift.Millimetres(), len(q.xs)
	a, b := q.design, q.lifts
	// Neighbouring degrees of a smoothed curve are not independent: a window
	// of about 2·half width shares its readings.
	together := max(1, 2*max(lobe.made.HalfWidth, valve.made.HalfWidth).Degrees())
	least := math.Hypot(lobe.uLift(lobe.Nose().Angle.Degrees())*valveTop/q.top, valve.uLift(valve.Nose().Angle.Degrees()))
	if o.Lash != nil {
		// A lash that was told is one more reading of the constant, as good as feeler
		// and heels are.
		if *o.Lash > 0 {
			f.uLash = feelerU.Millimetres() / coverage
		}
		weight := max(least, 1e-6) * math.Sqrt(together) / max(worksheet.Combine(f.uLash, valve.uHeel, lobe.uHeel*valveTop/q.top), 1e-6)
		a, b = mat.NewDense(n+1, q.columns, nil), mat.NewVecDense(n+1, nil)
		a.Copy(q.design)
		a.Set(n, 0, weight)
		b.CopyVec(q.lifts)
		b.SetVec(n, -weight*o.Lash.Millimetres())
	}
	var qr mat.QR
	qr.Factorize(a)
	if err := qr.SolveVecTo(&f.fit, false, b); err != nil {
		return nil, fmt.Errorf("ratio: the curves do not determine a ratio: %w", err)
	}
	f.residual.MulVec(q.design, &f.fit)
	f.residual.SubVec(q.lifts, &f.residual)
	f.scatter = math.Sqrt(mat.Dot(&f.residual, &f.residual) / float64(n-q.columns))
	chance := max(f.scatter, least)
	var normal mat.SymDense
	normal.SymOuterK(1, a.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return nil, fmt.Errorf("ratio: the curves do not determine a ratio (the lift hardly changes)")
	}
	if err := chol.InverseTo(&f.cov); err != nil {
		return nil, fmt.Errorf("ratio: %w", err)
	}
	f.variance = chance * chance * together
	return f, nil
}

// of is a weighted sum of the fit, and spread its expanded uncertainty.
func (f *ratioFit) of(weights []float64) float64 {
	return mat.Dot(mat.NewVecDense(f.columns, weights), &f.fit)
}

func (f *ratioFit) spread(weights []float64) float64 {
	v := mat.NewVecDense(f.columns, weights)
	return coverage * math.Sqrt(max(mat.Inner(v, &f.cov, v)*f.variance, 0))
}

// only returns the weights that take one number of the fit.
func (f *ratioFit) only(j int) []float64 {
	g := make([]float64, f.columns)
	g[j] = 1
	return g
}

// powers returns the weights of the fit in its value at a share l of the lobe's
// lift, its constant with it or not, and in its slope.
func (f *ratioFit) powers(l float64, constant bool) (value, slope []float64) {
	value, slope = make([]float64, f.columns), make([]float64, f.columns)
	for j := range f.columns - 1 {
		value[j] = math.Pow(l, float64(j))
		if j > 0 {
			slope[j] = float64(j) * math.Pow(l, float64(j-1)) / f.top
		}
	}
	if !constant {
		value[0] = 0
	}
	return value, slope
}

// at is the valve's lift over the lobe's, with its standard uncertainty.
func (f *ratioFit) at(lift float64) (v, u float64) {
	value, weights := f.powers(lift/f.top, true)
	return f.of(value), math.Hypot(f.spread(value)/coverage, f.of(weights)*f.uHeel)
}

// slopes is the ratio at a lift of the lobe, and how it changes there, each with its
// standard uncertainty.
func (f *ratioFit) slopes(lift float64) (ratio, u, change, changeU float64) {
	l := lift / f.top
	_, weights := f.powers(l, false)
	second := make([]float64, f.columns)
	for j := 2; j < f.columns-1; j++ {
		second[j] = float64(j*(j-1)) * math.Pow(l, float64(j-2)) / sq(f.top)
	}
	change = f.of(second)
	// A heel of the lobe's curve that is off is a lift at which the ratio is
	// another.
	return f.of(weights), math.Hypot(f.spread(weights)/coverage, change*f.uHeel), change, f.spread(second) / coverage
}

// curve is the answer.
func (f *ratioFit) curve(lobe, valve *Curve, o RatioOptions) (RatioCurve, error) {
	r := RatioCurve{Nominal: o.Nominal, top: f.top, at: f.at, slopes: f.slopes}
	shift := f.columns - 1
	r.Apart, r.ApartU = degrees(f.fit.AtVec(shift)), degrees(f.spread(f.only(shift)))
	if o.Lash != nil {
		r.Lash, r.LashU = *o.Lash, millimetres(coverage*f.uLash)
	} else {
		r.LashFound = true
		r.Lash, r.LashU = millimetres(-f.fit.AtVec(0)), millimetres(math.Hypot(f.spread(f.only(0)), coverage*valve.uHeel))
	}
	r.Stations = f.stations(o)
	nose, lobeNose := r.Stations[len(r.Stations)-1], lobe.Nose()
	if !(nose.Mean >= leastRatio && nose.Mean <= mostRatio) {
		return RatioCurve{}, worksheet.Wrongf("", "the valve's lift_mm rises %.3g times as far as the lobe's, and no rocker makes that of it: check that both curves are in one unit, and which of them is which", nose.Mean)
	}
	r.AtNose = nose.Mean
	r.AtNoseU = math.Hypot(nose.ValveU.Millimetres(), (nose.Ratio-nose.Mean)*lobeNose.MaxLiftU.Millimetres()) / f.top
	r.Opening, r.Closing = f.flanks(lobeNose.Angle.Degrees())
	r.Scatter = millimetres(f.scatter)
	if math.Abs(r.Apart.Degrees()) > max(r.ApartU.Degrees(), 0.5) {
		r.Warnings = append(r.Warnings, worksheet.Sayf("the two traces lie %s degrees apart: top dead centre was set differently, or the indicator and the encoder are read at different moments", plain(r.Apart.Degrees())))
	}
	if r.LashFound && r.Lash < 0 && -r.Lash > r.LashU {
		r.Warnings = append(r.Warnings, worksheet.Sayf("the valve seems to move before the lobe does: the heel of one of the traces is not the heel (preload, or a lifter that bled down)"))
	}
	return r, nil
}

// stations are ten lifts of the lobe, each a tenth higher.
func (f *ratioFit) stations(o RatioOptions) (all []RatioStation) {
	// A heel of the lobe's curve that is off moves both ends of what lies between
	// the heel and a lift: only the difference of the ratios there counts.
	_, atHeel := f.powers(0, false)
	for tenth := 1; tenth <= 10; tenth++ {
		l := float64(tenth) / 10
		value, weights := f.powers(l, false)
		slope, lift := f.of(weights), f.of(value)
		st := RatioStation{
			Lobe: millimetres(l * f.top), Valve: millimetres(lift), ValveU: millimetres(math.Hypot(f.spread(value), coverage*(slope-f.of(atHeel))*f.uHeel)),
			Ratio: slope, RatioU: f.spread(weights), Mean: lift / (l * f.top),
		}
		if o.Nominal != 0 {
			off := slope - o.Nominal
			st.Off = &off
		}
		all = append(all, st)
	}
	return all
}

// flanks is by how much the lifts of each flank lie off the fit, in the mean.
func (f *ratioFit) flanks(nose float64) (opening, closing measure.Length) {
	var sums, counts [2]float64
	for i, x := range f.xs {
		flank := 0
		if x > nose {
			flank = 1
		}
		sums[flank] += f.residual.AtVec(i)
		counts[flank]++
	}
	return millimetres(sums[0] / max(counts[0], 1)), millimetres(sums[1] / max(counts[1], 1))
}

// Gain is what a change did to a valve's curve.
type Gain struct {
	MaxLift  measure.Length `json:"max_lift_mm"`
	MaxLiftU measure.Length `json:"max_lift_u_mm"`
	// Area is the area under the curve gained, in mm times crank degrees, and
	// AreaShare its share of what was there before.
	Area      float64 `json:"area_mm_deg"`
	AreaShare float64 `json:"area_share"`
	// Durations at the checking lifts.
	Durations []DurationGain `json:"durations"`
	// Largest is where the lift grew most.
	Largest   measure.Length `json:"largest_mm"`
	LargestAt measure.Angle  `json:"largest_atdc_deg"`
}

// DurationGain is the duration gained at one checking lift.
type DurationGain struct {
	CheckingLift measure.Length `json:"checking_lift_mm"`
	Duration     measure.Angle  `json:"duration_deg"`
	U            measure.Angle  `json:"u_deg"`
}

// GainOf compares two curves of a valve, before and after a change.
func GainOf(before, after *Curve, checks []measure.Length) Gain {
	if checks == nil {
		checks = DefaultChecks()
	}
	nb, na := before.Nose(), after.Nose()
	g := Gain{MaxLift: na.MaxLift - nb.MaxLift, MaxLiftU: millimetres(math.Hypot(na.MaxLiftU.Millimetres(), nb.MaxLiftU.Millimetres())), Durations: []DurationGain{}}
	ab, _ := before.area()
	aa, _ := after.area()
	g.Area = aa - ab
	if ab > 0 {
		g.AreaShare = g.Area / ab
	}
	for _, lift := range checks {
		pb, errB := before.Passage(lift, "")
		pa, errA := after.Passage(lift, "")
		if errA != nil || errB != nil || pb.Span == nil || pa.Span == nil {
			continue // not reached by one of the two: nothing to compare there
		}
		g.Durations = append(g.Durations, DurationGain{CheckingLift: lift, Duration: pa.Span.Duration - pb.Span.Duration,
			U: degrees(math.Hypot(pa.Span.DurationU.Degrees(), pb.Span.DurationU.Degrees()))})
	}
	turns := 360 * math.Round((na.Angle-nb.Angle).Degrees()/360)
	most := math.Inf(-1)
	for x := math.Ceil(before.x[0]); x <= before.x[len(before.x)-1]; x++ {
		if d := after.line.At(x+turns) - before.line.At(x); d > most {
			most = d
			g.Largest, g.LargestAt = millimetres(d), degrees(x)
		}
	}
	return g
}
